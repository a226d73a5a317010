"""The copy of each day and what people are told of it."""

from datetime import UTC, datetime, timedelta

import pytest

from shared.backup import archive, daily
from shared.backup.databases import BackupError

NOW = datetime(2026, 11, 30, 7, tzinfo=UTC)


@pytest.fixture
def folder(settings, tmp_path, monkeypatch):
    settings.BACKUP_FOLDER, settings.BACKUPS_KEPT = tmp_path / "copies", 3
    # The rows of a test are in a transaction of their own; what is copied is told elsewhere.
    monkeypatch.setattr(archive.databases, "dump", lambda to: to.write_bytes(b"rows"))
    return settings.BACKUP_FOLDER


def test_one_a_day_is_made_and_the_last_ones_are_kept(db, folder):
    made = [daily.make_if_due(NOW + timedelta(hours=h)) for h in (0, 1, 19, 23, 24, 47, 71, 95)]
    assert [bool(one) for one in made] == [True, False, False, True, False, True, True, True]
    kept = [at for at, _ in daily.copies(folder)]
    assert kept == [NOW + timedelta(hours=h) for h in (95, 71, 47)]
    assert daily.state(NOW + timedelta(hours=96)).last == kept[0]


def test_a_shop_that_wants_none_gets_none(db, folder, settings):
    settings.BACKUPS_KEPT = 0
    assert daily.make_if_due(NOW) is None
    assert not folder.exists()


def test_other_files_in_the_folder_are_left_alone(db, folder):
    folder.mkdir()
    for name in ("shop-old.zip", "before-upgrade-20200101-000000.zip", "mine.txt"):
        (folder / name).touch()
    for day in range(5):
        daily.make(NOW + timedelta(days=day))
    assert len(list(folder.glob("*.zip"))) == 5
    assert (folder / "mine.txt").exists()


def test_a_failure_is_told_until_a_copy_is_made(db, folder, monkeypatch, browser_of):
    monkeypatch.setattr(archive, "SPARE_BYTES", 10**18)
    with pytest.raises(BackupError, match="MB free; a copy needs"):
        daily.make(NOW)
    assert list(folder.glob("*.zip")) == list(folder.glob(".making-*")) == []
    page = browser_of("administrator").get("/setup/copies/")
    assert "The last copy could not be made" in page.content.decode()
    assert "no copy was made lately" in browser_of("administrator").get("/setup/").content.decode()
    monkeypatch.undo()
    monkeypatch.setattr(archive.databases, "dump", lambda to: to.write_bytes(b"rows"))
    daily.make(NOW)
    assert daily.state(NOW).failure == ""
    (gauge,) = daily.copy_gauges(NOW + timedelta(hours=5))
    assert (gauge.name, gauge.value) == ("shop_copy_age_seconds", 5 * 3600)


def test_a_copy_older_than_a_weekend_is_told(db, folder, browser_of, frozen):
    frozen.move_to(NOW)
    daily.make(NOW)
    assert not daily.state(NOW + timedelta(days=2, hours=20)).late
    assert daily.state(NOW + timedelta(days=3, hours=1)).late
    frozen.move_to(NOW + timedelta(days=4))
    for _ in range(2):
        page = browser_of("administrator").post("/setup/copies/", follow=True)
        assert "The shop is copied" in page.content.decode()
    assert len(daily.copies(folder)) == 2


def test_only_whoever_runs_all_sites_may_copy_them(db, folder, site, other_site, browser_of):
    for role in ("technician", "administrator"):
        answer = browser_of(role, at=site).post("/setup/copies/")
        assert answer.status_code == 403
    assert not folder.exists()
