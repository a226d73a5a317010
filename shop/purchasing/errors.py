"""What purchasing refuses."""

from shop.errors import Refused


class OrderState(Refused):
    """The order is not in a state that allows this."""

    own_code = "order_state"


class BelowLeastOrder(Refused):
    """The supplier takes no order of so little value."""

    own_code = "below_least_order"


class OverDelivery(Refused):
    """More came than was ordered, and nobody has said that it may be kept."""

    own_code = "over_delivery"


class NotAgreed(Refused):
    """A proposal that was decided already, or is another site's."""

    own_code = "proposal_decided"
