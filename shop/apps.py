from django.apps import AppConfig


class ShopConfig(AppConfig):
    name = "shop"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Tell the trace what lies behind the tools the ledger names, and codes what they name."""
        from shared.gauges import register_gauges
        from shared.mail.unsent import register_unsent
        from shared.sign_in.leaving import register_ending
        from shop.labels.kinds import register_kinds
        from shop.ledger.owned import register_owner
        from shop.purchasing.gauges import purchasing_gauges
        from shop.purchasing.mailing import unsent_orders
        from shop.sites.leaving import works_no_more
        from shop.tools.tracing import TOOL, WITHDRAW, ToolUses
        from shop.trace.providers import register_trace

        register_trace(TOOL, ToolUses())
        register_owner("tool-event:", WITHDRAW)
        register_kinds()
        register_unsent(unsent_orders)
        register_ending(works_no_more)
        register_gauges(purchasing_gauges)
