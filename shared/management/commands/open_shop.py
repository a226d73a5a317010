"""Start the whole shop with one command: database, demo, web server, worker with its timetable."""

from __future__ import annotations

import os
import socket
import ssl
import sys
import time
import urllib.error
import urllib.request
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError, call_command, get_commands
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from shared import clock
from shared.access.models import Membership, User
from shared.backup.archive import back_up
from shared.backup.restoring import shop_open
from shared.run import authority, trusting
from shared.run.children import Children

HOST = "127.0.0.1"
EVERYWHERE = "0.0.0.0"
AUTHORITY = "authority"
"""Folder of the shop's own certificate authority, in the data folder."""
DEMO = "load_demo"
EXAMPLE_MARK = "example-shop"
"""A file in the data folder once the invented example shop is in it."""
DEMO_PASSWORD = "demo-shop"
BIN = Path(sys.executable).parent
ROOT = (
    "You open the shop as root. It works, but a fault in it could then touch the whole machine; "
    "for more than a trial give it a user of its own."
)
AS_ROOT_TOLD = ["-W", "ignore:You're running the worker with superuser"]
"""The worker's own page-long warning of the same, which `ROOT` says in a sentence."""


class Command(BaseCommand):
    help = "Prepare the database, load the demo shop when it is empty, and serve until Ctrl-C."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="port to serve on (8000)")
        parser.add_argument(
            "--empty", action="store_true", help="a shop of your own: load no example into it"
        )
        parser.add_argument("--threads", type=int, default=8, help="requests served at once (8)")
        parser.add_argument(
            "--lan",
            nargs="?",
            const="",
            metavar="ADDRESS",
            help="let phones and tablets of the local network in, by https; ADDRESS is this "
            "computer's own there, found by itself where it is left out",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        lan = options["lan"] is not None
        host = EVERYWHERE if lan else HOST
        port = self.free_port(options["port"], host)
        at = self.lan_addresses(options["lan"]) if lan else []
        if lan:
            self.free_port(port + 1, host)
        with shop_open(settings.DATA):
            self.serve(host, port, at, options)

    def serve(self, host: str, port: int, at: list[str], options: dict[str, Any]) -> None:
        """Bring the database up to date, start what the shop consists of, wait for its end."""
        lan = options["lan"] is not None
        self.copy_before_upgrade()
        call_command("migrate", interactive=False, verbosity=0)
        self.stdout.write(f"Database ready ({settings.DATABASES['default']['ENGINE']}).")
        if options["empty"] and settings.SANDBOX:
            raise CommandError(
                "A sandbox holds the example shop and is emptied each night; leave out --empty, "
                "or SANDBOX=1 for a shop of your own."
            )
        if options["empty"]:
            self.refuse_example()
        else:
            self.load_demo()
        if os.geteuid() == 0:
            self.stdout.write(ROOT)
        env = {**os.environ, "DJANGO_SETTINGS_MODULE": os.environ["DJANGO_SETTINGS_MODULE"]}
        self.served = None
        if lan:
            self.refuse_open_door()
            self.served = self.certified(at, port)
            env |= self.lan_settings(at, port)
        children = Children()
        children.listen()
        children.start("web server", self.web(host, port, options["threads"]), env)
        if self.served is not None:
            children.start("page of trust", self.trust_page(host, port), env)
        children.start("worker", self.worker(), env)
        ended = None
        try:
            if self.answers(children, port):
                self.say_where(port)
                self.say_lan(at, port)
            ended = children.wait()
        finally:
            self.stdout.write("Closing the shop …")
            codes = children.stop()
        if ended:
            raise CommandError(f"The {ended} ended by itself with status {codes[ended]}.")
        self.stdout.write("Closed.")

    def copy_before_upgrade(self) -> None:
        """Make a copy of a shop whose tables a newer version is about to change."""
        executor = MigrationExecutor(connection)
        steps = executor.migration_plan(executor.loader.graph.leaf_nodes())
        if not steps or not executor.loader.applied_migrations:
            return
        to = Path(settings.BACKUP_FOLDER) / f"before-upgrade-{clock.now():%Y%m%d-%H%M%S}.zip"
        made = back_up(to, clock.now())
        self.stdout.write(
            f"The tables will be changed; before that the shop is copied: {made.path}"
        )

    def lan_addresses(self, given: str) -> list[str]:
        if given:
            try:
                private = authority.is_private(given)
            except ValueError:
                private = False
            if not private:
                raise CommandError(
                    f"--lan is {given}; it must be this computer's address in a private network, "
                    "such as 192.168.1.20."
                )
            return [given]
        found = authority.addresses()
        if not found:
            raise CommandError(
                "This computer has no address in a local network; connect it to the shop's "
                "network, name its address with --lan ADDRESS, or leave --lan out."
            )
        return found

    def refuse_open_door(self) -> None:
        """Let no network in while anybody on it could sign in or found the shop."""
        people = User.objects.filter(is_active=True).order_by("pk")
        if not people.exists():
            raise CommandError(
                "Nobody can sign in yet, so the first phone of the network could found the shop. "
                "Open it without --lan first and found it."
            )
        known = [user.username for user in people if user.check_password(DEMO_PASSWORD)]
        if known:
            raise CommandError(
                f"The example's password {DEMO_PASSWORD}, which anybody can read, is still valid "
                f"for {', '.join(known[:5])}{' and others' if len(known) > 5 else ''}. Give each "
                "of them another one under People, or open a shop of your own, before you let "
                "the network in."
            )

    def certified(self, at: list[str], port: int) -> authority.Served:
        folder = settings.DATA / AUTHORITY
        found = authority.served(folder, at, authority.hosts(), authority.moment())
        trusting.write_page(folder, found.fingerprint, f"https://{at[0]}:{port}/")
        return found

    def lan_settings(self, at: list[str], port: int) -> dict[str, str]:
        """Return the settings under which the network may reach the shop, and by https only."""
        names = [*at, *authority.hosts(), HOST]
        return {
            "ALLOWED_HOSTS": ",".join(names),
            "PUBLIC_URL": f"https://{at[0]}:{port}",
            "HTTPS_ONLY": "1",
            "FOUND_IN_BROWSER": "0",
        }

    def trust_page(self, host: str, port: int) -> list[str]:
        folder = str(settings.DATA / AUTHORITY)
        return [sys.executable, "-m", "shared.run.trusting", folder, host, str(port + 1)]

    def say_lan(self, at: list[str], port: int) -> None:
        """Say under what address phones reach the shop, and draw it as a code to scan."""
        if self.served is None:
            return
        import io

        import segno

        where = f"http://{at[0]}:{port + 1}/"
        drawn = io.StringIO()
        segno.make(where, error="m", micro=False).terminal(out=drawn, compact=True)
        self.stdout.write(
            f"\nOn the local network:\n"
            f"  the shop         {'  '.join(f'https://{one}:{port}/' for one in at)}\n"
            f"  first, once      {where}  tells a phone how to trust the shop\n"
            f"  fingerprint      {self.served.fingerprint}\n\n{drawn.getvalue()}"
        )
        self.stdout.flush()

    def free_port(self, port: int, host: str = HOST) -> int:
        """Return the port, or refuse one that is taken and name a free one."""
        if not 1 <= port <= 65535:
            raise CommandError(f"--port is {port}; it must be 1 to 65535.")
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except PermissionError:
                raise CommandError(f"Port {port} needs rights you lack; try 8000.") from None
            except OSError:
                with socket.socket() as other:
                    other.bind((host, 0))
                    free = other.getsockname()[1]
                raise CommandError(
                    f"Port {port} is taken, maybe by a shop that is open already. "
                    f"Try: python manage.py open_shop --port {free}"
                ) from None
        return port

    def refuse_example(self) -> None:
        """Keep a shop of one's own apart from the example shop."""
        if (settings.DATA / EXAMPLE_MARK).exists():
            raise CommandError(
                f"{settings.DATA} holds the invented example shop. Give your own shop a folder of "
                "its own, for example: SHOP_DATA=.my-shop python manage.py open_shop --empty"
            )

    def load_demo(self) -> None:
        if User.objects.exists():
            return
        if DEMO not in get_commands():
            self.stdout.write(
                "The database is empty and this installation carries no demo. Found your shop on "
                "its first page, or with: python manage.py found_shop --name NAME --admin YOU"
            )
            return
        self.stdout.write("The database is empty: loading the invented demo shop …")
        call_command(DEMO, stdout=self.stdout)

    def web(self, host: str, port: int, threads: int) -> list[str]:
        found = self.served
        tls = [] if found is None else ["--certfile", str(found.certificate),
                                        "--keyfile", str(found.key)]  # fmt: skip
        return [
            sys.executable, "-m", "gunicorn", "shared.config.wsgi:application",
            *tls, "--bind", f"{host}:{port}", "--threads", str(threads), "--workers", "1",
            "--worker-class", "gthread", "--timeout", "120", "--graceful-timeout", "10",
            "--no-control-socket", "--chdir", str(settings.ROOT), "--log-level", "warning",
        ]  # fmt: skip

    def worker(self) -> list[str]:
        # Two at a time: a plan being worked out must not hold up reminders.
        return [
            sys.executable, *AS_ROOT_TOLD, "-m", "celery", "--quiet", "--app", "shared.config",
            "--workdir", str(settings.ROOT), "worker", "--beat", "--concurrency", "2",
            "--loglevel", "WARNING", "--schedule", str(settings.CELERY_BEAT_SCHEDULE_FILENAME),
        ]  # fmt: skip

    def answers(self, children: Children, port: int) -> bool:
        """Wait until the web server answers; give up when a child has ended."""
        deadline = time.monotonic() + 60
        scheme, trusted = "http", None
        if self.served is not None:
            scheme, trusted = "https", ssl.create_default_context(cafile=self.served.authority)
        while time.monotonic() < deadline and children.asked is None:
            if any(child.poll() is not None for child in children.running.values()):
                return False
            at = f"{scheme}://{HOST}:{port}/livez"
            try:
                with urllib.request.urlopen(at, timeout=2, context=trusted):
                    return True
            except (urllib.error.URLError, OSError):
                time.sleep(0.2)
        return False

    def say_where(self, port: int) -> None:
        here = f"{'http' if self.served is None else 'https'}://{HOST}:{port}/"
        self.stdout.write(
            f"\nThe shop is open:\n"
            f"  pages            {here}\n"
            f"  API, described   {here}api/v1/\n"
            f"  kept in          {settings.DATA}\n"
        )
        for line in self.who():
            self.stdout.write(line)
        self.stdout.write("Stop it with Ctrl-C.\n")
        self.stdout.flush()

    def who(self) -> list[str]:
        rows = Membership.objects.filter(user__is_active=True).select_related("user", "site")
        roles: dict[str, list[str]] = {}
        for row in rows:
            roles.setdefault(row.user.username, []).append(
                f"{row.get_role_display().lower()} at {row.site}"
            )
        if not roles:
            return ["Nobody can sign in yet: the first page lets you found your shop.\n"]
        lines = ["Who can sign in:\n"]
        for name, held in list(roles.items())[:12]:
            lines.append(f"  {name:<14} {', '.join(held)}\n")
        if rows[0].user.check_password(DEMO_PASSWORD):
            lines.append(f"Invented people; the password of each is {DEMO_PASSWORD}\n")
        return lines
