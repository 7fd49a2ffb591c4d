"""Where things lie, and settings.toml."""

from pathlib import Path

import pytest

from pipeline.config import CACHE_VARIABLE, cache_folder, load_config
from pipeline.errors import InputError


def test_the_environment_names_the_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSPOKEN_HOME", str(tmp_path / "home"))

    config = load_config()

    assert tmp_path / "home" == config.home
    assert config.settings.model is None
    assert not (tmp_path / "home").exists()


def test_settings_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSPOKEN_HOME", str(tmp_path))
    (tmp_path / "settings.toml").write_text('model = "/models/larger"\ndevice = "cpu"\n')

    settings = load_config().settings
    assert (settings.model, settings.device) == ("/models/larger", "cpu")


@pytest.mark.parametrize("text", ["model = ", 'modell = "x"', "model = 3", 'device = "tpu"', b"\xff\xfe"])
def test_faults_in_settings_name_the_file(text: str | bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSPOKEN_HOME", str(tmp_path))
    (tmp_path / "settings.toml").write_bytes(text if isinstance(text, bytes) else text.encode())

    with pytest.raises(InputError, match=r"settings\.toml"):
        load_config()


def test_the_jurisdiction_is_a_setting_that_the_environment_overrides(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HANDSPOKEN_HOME", str(tmp_path))
    monkeypatch.delenv("HANDSPOKEN_JURISDICTION", raising=False)
    assert load_config().settings.jurisdiction == "unknown"

    (tmp_path / "settings.toml").write_text('jurisdiction = "restricted"\n')
    assert load_config().settings.jurisdiction == "restricted"

    monkeypatch.setenv("HANDSPOKEN_JURISDICTION", "Prohibited")
    assert load_config().settings.jurisdiction == "prohibited"

    monkeypatch.setenv("HANDSPOKEN_JURISDICTION", "anything goes")
    with pytest.raises(InputError, match="HANDSPOKEN_JURISDICTION"):
        load_config()


def test_the_cache_lies_where_the_variable_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path))
    assert cache_folder() == tmp_path
    monkeypatch.delenv(CACHE_VARIABLE)
    assert cache_folder().name == "handspoken"


def test_the_part_table_is_off_until_it_is_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSPOKEN_HOME", str(tmp_path))

    assert not load_config().settings.part_table
    (tmp_path / "settings.toml").write_text("part_table = true\n")
    assert load_config().settings.part_table
