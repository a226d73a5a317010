#!/usr/bin/env python
"""Run the project's commands; `python manage.py open_shop` starts everything."""

import os
import sys


def main() -> None:
    """Hand the command line to Django with the development settings unless told otherwise."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.config.settings.dev")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
