"""What the stores refuse, each with a code for programs and a sentence for people."""

from __future__ import annotations

from typing import Any, ClassVar

from shared.errors import ShopError


class Refused(ShopError):
    """A refusal of the stores; the code is the class's own."""

    own_code: ClassVar[str] = "refused"

    def __init__(self, message: str, **facts: Any) -> None:
        super().__init__(message, self.own_code, 409, **facts)


class NotEnoughStock(Refused):
    own_code = "not_enough_stock"


class LotNotUsable(Refused):
    own_code = "lot_not_usable"


class LotExpired(LotNotUsable):
    own_code = "lot_expired"


class LotQuarantined(LotNotUsable):
    own_code = "lot_quarantined"


class LotHeld(LotNotUsable):
    own_code = "lot_held"


class LotRecalled(Refused):
    """A recall of the lot is in force; it is lifted before the lot is released."""

    own_code = "lot_recalled"


class NotLonger(Refused):
    """Lengthening a lot's life is for quality, and this person is not."""

    own_code = "not_longer"


class KeyReused(Refused):
    """The key of an earlier movement came with other values."""

    own_code = "key_reused"


class NotReversible(Refused):
    own_code = "not_reversible"


class AlreadyReversed(NotReversible):
    own_code = "already_reversed"


class NotFound(ShopError):
    """Nothing of that id or code, or it belongs to another site."""

    def __init__(self, message: str, **facts: Any) -> None:
        super().__init__(message, "not_found", 404, **facts)
