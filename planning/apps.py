from django.apps import AppConfig


class PlanningConfig(AppConfig):
    name = "planning"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Tell the stores what lies behind planning's words in the ledger; name batches."""
        from planning.batches.codes import register_batches
        from planning.batches.leaving import planned_work
        from planning.batches.touched import batches_of_system
        from planning.cures.tracing import BATCH, POUR, Batches, Pours
        from planning.pours.leaving import register_planner
        from planning.reminders.gauges import planning_gauges
        from planning.reminders.queries import unsent_mails
        from planning.replacements.queries import PlannedCaster
        from planning.schedule.withdrawing import plan_again, take_out
        from planning.weigh_in.amending import WHERE
        from planning.weigh_in.wanted import wanted_stock
        from shared.gauges import register_gauges
        from shared.mail.unsent import register_unsent
        from shared.sign_in.leaving import register_ties
        from shop import stores

        stores.register_trace(BATCH, Batches())
        stores.register_trace(POUR, Pours())
        stores.register_open_purposes(BATCH, wanted_stock)
        for prefix in ("weighing:", "amended:"):
            stores.register_owner(prefix, WHERE)
        stores.register_touched(batches_of_system)
        register_planner(take_out, plan_again)
        stores.register_caster(PlannedCaster())
        register_gauges(planning_gauges)
        register_unsent(unsent_mails)
        register_ties(planned_work)
        register_batches()
