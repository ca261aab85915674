"""`share` of a source: what it must be, what is said of it, and what the source is told."""

import pytest

from collector.errors import SettingsError
from collector.settings.load import parse
from collector.sources import build_sources
from tests.collector.conftest import config_text


def read(tmp_path, share, **more):
    text = config_text(1883, **more).replace('client_id = "under-test"\n', share)
    return parse(text, tmp_path / "c.toml")


@pytest.mark.parametrize("name", ["", "a/b", "+", "#", "a\\nb"])
def test_a_name_that_no_group_has_is_a_mistake(tmp_path, name):
    with pytest.raises(SettingsError) as caught:
        read(tmp_path, f'share = "{name}"\n')
    assert [p.key for p in caught.value.problems] == ["source.1.share"]
    assert "a group" in caught.value.problems[0].what


def test_a_group_is_of_mqtt_5(tmp_path):
    with pytest.raises(SettingsError) as caught:
        read(tmp_path, 'share = "kitchen"\n', version="3.1.1")
    assert str(caught.value).endswith('source.1.share: is of MQTT 5: take version = "3.1.1" away')


def test_a_filter_that_is_shared_by_itself_is_told_where_the_group_goes(tmp_path):
    with pytest.raises(SettingsError, match='share = "GROUP"'):
        parse(config_text(1883).replace("pit/+", "$share/kitchen/pit/+"), tmp_path / "c.toml")


def test_what_sharing_means_is_said_and_the_source_is_told_of_it(tmp_path):
    settings = read(tmp_path, 'share = "kitchen"\n')
    assert [w for w in settings.warnings if "gets a part of each probe's readings" in w]
    assert not [w for w in settings.warnings if "qos" in w]
    (source,) = build_sources(settings, lambda: 0.0, 0.0)
    assert (source._options.share, source._options.session_expiry_seconds) == ("kitchen", 600)
    assert source._client_id.endswith("-house-kitchen")
    settings = read(tmp_path, 'share = "kitchen"\n', qos=0)
    assert [w for w in settings.warnings if "at qos = 0 what a member that dies was sent is lost" in w]
    (source,) = build_sources(read(tmp_path, ""), lambda: 0.0, 0.0)
    assert (source._options.share, source._options.session_expiry_seconds) == ("", 86_400)
