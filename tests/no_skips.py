"""A pytest plug-in for the build: a test that was skipped or expected to fail is a failure."""

from __future__ import annotations

import pytest


class NoSkips:
    """Counts what did not really run."""

    def __init__(self) -> None:
        self.found: list[str] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note skips and expected failures."""
        if report.skipped or hasattr(report, "wasxfail"):
            self.found.append(report.nodeid)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """Note files that were skipped as a whole."""
        if report.skipped:
            self.found.append(report.nodeid)

    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        """Fail the run when anything was skipped."""
        if self.found:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        """Say what was skipped."""
        for name in self.found:
            terminalreporter.write_line(f"SKIPPED, which counts as failed: {name}", red=True)


def pytest_configure(config: pytest.Config) -> None:
    """Watch the run from its main process."""
    if not hasattr(config, "workerinput"):
        config.pluginmanager.register(NoSkips(), "no-skips")
