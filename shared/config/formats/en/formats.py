"""Days as forms read them: one way only, for 03/04/2026 is two days."""

DATE_INPUT_FORMATS = ["%Y-%m-%d"]
