"""Settings say in one line what cannot be used, and never repeat a secret."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from api.settings import DEMO_CATALOG, SettingError, Settings, settings_from


def test_an_empty_environment_gives_the_demo_workshop_on_this_machine_only() -> None:
    assert settings_from({}) == Settings(
        today=None,
        catalog=DEMO_CATALOG,
        database_url="sqlite:///quarterfoot.sqlite3",
        bootstrap_owner_key=None,
        demo_keys=False,
        page_limit="120/minute",
        sheet_limit="600/minute",
        choices_ahead=True,
        host="127.0.0.1",
        port=8000,
    )


def test_every_setting_is_read(tmp_path: Path) -> None:
    environ = {
        "QUARTERFOOT_TODAY": "2026-03-02",
        "QUARTERFOOT_CATALOG": str(tmp_path),
        "QUARTERFOOT_DATABASE_URL": "postgresql+psycopg://shop@db/quarterfoot",
        "QUARTERFOOT_BOOTSTRAP_OWNER_KEY": "long-and-random-enough",
        "QUARTERFOOT_DEMO_KEYS": "1",
        "QUARTERFOOT_PAGE_LIMIT": "30/second",
        "QUARTERFOOT_SHEET_LIMIT": "900/hour",
        "QUARTERFOOT_CHOICES_AHEAD": "0",
        "QUARTERFOOT_HOST": "::1",
        "QUARTERFOOT_PORT": "0",
        "PATH": "/nowhere",
    }
    expected = Settings(
        today=date(2026, 3, 2),
        catalog=tmp_path,
        database_url="postgresql+psycopg://shop@db/quarterfoot",
        bootstrap_owner_key="long-and-random-enough",
        demo_keys=True,
        page_limit="30/second",
        sheet_limit="900/hour",
        choices_ahead=False,
        host="::1",
        port=0,
    )
    assert settings_from(environ) == expected


def test_an_empty_value_counts_as_absent() -> None:
    assert settings_from({"QUARTERFOOT_PORT": " "}).port == 8000


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("TODAY", "2026-3-2"),
        ("TODAY", "2026-02-30"),
        ("TODAY", "20260302"),
        ("TODAY", "tomorrow"),
        ("CATALOG", "no/such/folder"),
        ("DATABASE_URL", "mysql://x"),
        ("DATABASE_URL", "sqlite:///"),
        ("BOOTSTRAP_OWNER_KEY", "too-short"),
        ("BOOTSTRAP_OWNER_KEY", "long enough but with spaces"),
        ("DEMO_KEYS", "yes"),
        ("PAGE_LIMIT", "0/minute"),
        ("PAGE_LIMIT", "120"),
        ("PAGE_LIMIT", "120 per 2 minutes"),
        ("SHEET_LIMIT", "600/fortnight"),
        ("HOST", "a b"),
        ("PORT", "65536"),
        ("PORT", "-1"),
        ("PORT", "8e3"),
        ("PORT", "٨٠"),
    ],
)
def test_a_bad_value_gives_one_line_that_names_the_setting(name: str, value: str) -> None:
    with pytest.raises(SettingError) as bad:
        settings_from({f"QUARTERFOOT_{name}": value})
    assert str(bad.value).startswith(f"QUARTERFOOT_{name}: ")
    assert "\n" not in str(bad.value)


def test_the_password_in_a_database_address_is_never_repeated() -> None:
    with pytest.raises(SettingError) as bad:
        settings_from({"QUARTERFOOT_DATABASE_URL": "postgres://shop:hunter2@db/x"})
    assert "hunter2" not in str(bad.value)


def test_a_first_key_is_never_repeated() -> None:
    with pytest.raises(SettingError) as bad:
        settings_from({"QUARTERFOOT_BOOTSTRAP_OWNER_KEY": "short-secret"})
    assert "short-secret" not in str(bad.value)
