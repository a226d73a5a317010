from django.apps import AppConfig


class SharedConfig(AppConfig):
    name = "shared"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shared.audit import record
        from shared.backup import daily
        from shared.gauges import register_gauges
        from shared.sign_in import sign_ins

        record.watch()
        sign_ins.watch()
        register_gauges(daily.copy_gauges)
