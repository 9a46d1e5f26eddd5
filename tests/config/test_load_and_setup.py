"""Reading settings: every problem at once, with key and cure; and writing a first installation without harm."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from datetime import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.config.first_setup import first_config, write_first_installation
from notify.config.key_files import key_line, read_key, read_password
from notify.config.load import find, load, read
from notify.config.table import SETTINGS
from notify.core.errors import Conflict, Misconfigured
from tests.config.test_example import flat

HERE = Path("/srv/bell")
SECRET = "hunter2secret"


def problems(text: str) -> dict[str, str]:
    return {one.field: str(one) for one in read(text, folder=HERE).problems}


def test_every_problem_is_told_at_once_with_key_and_cure() -> None:
    found = problems(
        '[web]\nport = "8600"\nbind = "everywhere"\npublic_ulr = ""\n[mail]\nsecurity = "ssl"\n'
        'sender_address = "a, b"\n'
        '[bell]\nquiet_from = "9pm"\n[kyes]\nmaster_key_file = "x"\n[sms]\ntransport = "mailgate"\n'
    )
    assert sorted(found) == [
        "bell.quiet_from",
        "kyes.master_key_file",
        "mail.security",
        "mail.sender_address",
        "sms.template",
        "web.bind",
        "web.port",
        "web.public_ulr",
    ]
    assert found["web.public_ulr"] == "web.public_ulr is not a setting. Did you mean web.public_url?"
    assert found["kyes.master_key_file"].endswith("Did you mean keys.master_key_file?")
    assert found["mail.security"].endswith('Write one of: "starttls", "tls", "none".')
    assert found["web.port"].endswith("Write a whole number from 1 to 65535, without quotes.")


def test_loading_raises_one_error_that_carries_all(tmp_path: Path) -> None:
    file = tmp_path / "config.toml"
    file.write_text("[web]\nport = 0\ntrusted_proxies = -1\n")
    with pytest.raises(Misconfigured) as refused:
        load(file)
    assert [one.field for one in refused.value.problems] == ["web.port", "web.trusted_proxies"]
    assert "2 settings" in str(refused.value)
    file.write_bytes(b"\xff\xfe")
    with pytest.raises(Misconfigured, match="UTF-8"):
        load(file)


BAD = {
    "web.port": ["0", "65536", "true", "86.0", '"86"', "[]"],
    "web.bind": ['""', '"bell.example.org"', '"127.0.0.1:80"', "1"],
    "web.public_url": [
        '"bell.example.org"',
        '"ftp://x.example"',
        '"https://x.example/?a"',
        '"https://u:p@x.example"',
        '"https://x.example:99999"',
        '"https://"',
        '"https://x.example/a b"',
        '"https://é.example"',
    ],
    "database.url": ['"mysql://x/y"', '"sqlite:///here.db"', '"sqlite://"', '"shelfbell.db"', '"postgresql://"'],
    "database.data_folder": ['""', "3", '"a\\nb"'],
    "mail.sender_address": ['"Pat <pat@example.org>"', '"a@example.org, b@example.org"', '"pat"'],
    "mail.host": ['"mail.example.org/x"', '"smtp://mail"', '"a b"'],
    "sms.template": [
        '"sms@example.org"',
        '"{digits}{digits}@example.org"',
        '"{digits}+x@example.org"',
        '"{digits}"',
        '"{0.__class__}{digits}@example.org"',
    ],
    "invite.organizer": [
        '"pickup@example.org"',
        '"pickup+{token}@example.org"',
        '"{token}"',
        '"a-very-long-beginning-of-forty-signs-xx-{token}@example.org"',
    ],
    "bell.quiet_from": ['"25:00"', '"9:00"', '"21:00:30"', "21", "21:00:30"],
    "bell.wait_seconds": ["-1", "3601", "1.5"],
    "log.level": ['"loud"', "1"],
    "web.debug": ['"yes"', "1", "0"],
    "watch.x.zone": ['"Europe"', '"Mars/Olympus"', '"../etc/passwd"', '""', "3"],
    "watch.x.encoding": ['"utf-9"', '"base64"', '""', '"rot13"'],
    "watch.x.delimiter": ['""', '",,"', '"a"', "1"],
    "watch.x.columns": [
        '{reference = "a"}',
        '{reference = "a", phase = "b", colour = "c"}',
        '"a"',
        '{reference = "", phase = "b"}',
        '{reference = 1, phase = "b"}',
    ],
    "watch.x.phase_words": ['{done = "finished"}', '{done = "on_shelf"}', '"done"', '{done = ""}'],
}
WATCH = {"folder": '"x"', "columns": '{reference = "a", phase = "b"}', "phase_words": '{done = "repaired"}'}


def with_one(key: str, value: str) -> str:
    section, _, name = key.rpartition(".")
    lines = {**WATCH, name: value} if section.startswith("watch.") else {name: value}
    return f"[{section}]\n" + "\n".join(f"{line} = {text}" for line, text in lines.items())


@pytest.mark.parametrize(("key", "value"), [(key, value) for key, values in BAD.items() for value in values])
def test_a_bad_value_is_named_with_its_cure(key: str, value: str) -> None:
    found = problems(with_one(key, value))
    assert list(found) == [key]
    assert found[key].count(". ") >= 1


GOOD = [
    ("web.bind", '"::1"', lambda s: s.web.bind == "::1"),
    ("web.public_url", '"http://127.0.0.1:8600/"', lambda s: s.web.public_url == "http://127.0.0.1:8600"),
    ("web.public_url", '"http://[::1]:8600"', lambda s: s.web.public_url == "http://[::1]:8600"),
    ("database.url", '"sqlite:////srv/a.db"', lambda s: s.database.url == "sqlite:////srv/a.db"),
    ("database.data_folder", '"../data"', lambda s: s.database.data_folder == Path("/srv/data")),
    (
        "listeners.inner_hosts",
        '["Till.lan:8700", "192.168.4.10"]',
        lambda s: s.listeners.inner_hosts == ("till.lan:8700", "192.168.4.10"),
    ),
    ("bell.quiet_from", "20:30:00", lambda s: s.bell.quiet_from == time(20, 30)),
    ("sms.template", '"{digits}@sms.example.org"', lambda s: s.sms.template == "{digits}@sms.example.org"),
    ("invite.organizer", '"pickup-{token}@example.org"', lambda s: "{token}" in s.invite.organizer),
    ("watch.x.encoding", '"CP1252"', lambda s: s.watch[0].encoding == "cp1252"),
    ("watch.x.delimiter", '"\\t"', lambda s: s.watch[0].delimiter == "\t"),
    ("watch.x.zone", '"Europe/Berlin"', lambda s: s.watch[0].zone == "Europe/Berlin"),
]


@pytest.mark.parametrize(("key", "value", "holds"), GOOD, ids=[f"{key}={value}" for key, value, _ in GOOD])
def test_a_good_value_arrives(key: str, value: str, holds: object) -> None:
    reading = read(with_one(key, value), folder=HERE)
    assert not reading.problems
    assert callable(holds)
    assert holds(reading.settings)


def test_no_message_repeats_a_value() -> None:
    shown = 0
    for setting in SETTINGS:
        key = setting.key.replace("*", "x")
        for value in (f'"{SECRET}\\n"', f'["{SECRET}"]', f'{{ a = ["{SECRET}"] }}'):
            found = problems(with_one(key, value))
            assert found, key
            shown += any(SECRET in message for message in found.values())
    for key in ("mail.password", "web.secret", "web.secret_key", "keys.master_key", "keys.index_key"):
        message = problems(with_one(key, f'"{SECRET}"'))[key]
        assert "must not stand in the settings file" in message
        shown += SECRET in message
    print(f"FIGURE F2_secrets_in_messages tried={3 * len(SETTINGS) + 5} shown={shown}")
    assert shown == 0


def test_a_watched_folder_must_have_its_needed_settings() -> None:
    assert sorted(problems('[watch.bench]\nzone = "UTC"')) == [
        "watch.bench.columns",
        "watch.bench.folder",
        "watch.bench.phase_words",
    ]
    assert "watch.Bench 1.folder" in problems('[watch."Bench 1"]\nfolder = "x"\n')
    assert "watch" in " ".join(problems('watch = "x"'))
    assert "watch.bench" in " ".join(problems("[watch.bench]"))


@pytest.mark.parametrize("text", ["[web", "port 3", "[web]\nport = ", "a = 1\na = 2", "\x00", "[web]\n[web]", "= 3"])
def test_what_is_no_toml_is_told_with_its_line(text: str) -> None:
    assert list(problems(text)) == ["file"]


@settings(max_examples=150, deadline=None)
@given(
    st.recursive(
        st.booleans() | st.integers(-9, 99_999) | st.sampled_from(['"x"', '""', "1.5", "21:00:00", "[]"]),
        lambda inner: st.dictionaries(st.sampled_from("abc"), inner, max_size=2),
        max_leaves=3,
    ),
    st.sampled_from([setting.key for setting in SETTINGS] + ["x", "web", "watch", "watch.x", "web.port.x"]),
)
def test_reading_never_raises_whatever_stands_there(value: object, key: str) -> None:
    def toml(one: object) -> str:
        if isinstance(one, dict):
            return "{" + ", ".join(f"{name} = {toml(inner)}" for name, inner in one.items()) + "}"
        return str(one).lower() if isinstance(one, bool) else str(one)

    reading = read(f"{key.replace('*', 'y')} = {toml(value)}\n", folder=HERE)
    assert reading.settings.web.port in range(1, 65536)


def test_the_environment_names_the_file() -> None:
    assert find({}, here=HERE) == HERE / "config.toml"
    assert find({"SHELFBELL_CONFIG": "/etc/bell.toml"}, here=HERE) == Path("/etc/bell.toml")
    assert find({"SHELFBELL_CONFIG": " other.toml "}, here=HERE) == HERE / "other.toml"


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_a_first_installation_is_for_its_owner_only_whatever_the_umask(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        config = write_first_installation(tmp_path / "bell", public_url="", random_bytes=os.urandom)
    finally:
        os.umask(before)
    files = [path for path in config.parent.rglob("*") if path.is_file()]
    assert sorted(file.name for file in files) == ["backup.key", "config.toml", "index.key", "master.key", "web.key"]
    assert {mode(file) for file in files} == {0o600}
    assert {mode(path) for path in (config.parent, config.parent / "keys", config.parent / "data")} == {0o700}
    keys = {read_key(file)[1] for file in files if file.suffix == ".key" and file.name != "backup.key"}
    assert len(keys) == 3
    assert load(config) == read("", folder=config.parent).settings


def test_a_first_installation_with_an_address_is_behind_its_proxy(tmp_path: Path) -> None:
    web = load(write_first_installation(tmp_path, public_url="https://bell.example.org", random_bytes=os.urandom)).web
    assert (web.public_url, web.behind_tls, web.trusted_proxies) == ("https://bell.example.org", True, 1)
    local = tmp_path / "local"
    web = load(write_first_installation(local, public_url="http://127.0.0.1:8600", random_bytes=os.urandom)).web
    assert (web.public_url, web.behind_tls) == ("http://127.0.0.1:8600", False)


def test_the_first_settings_file_explains_every_setting_of_the_installation() -> None:
    text = first_config("")
    switched_on = re.sub(r"(?m)^#(?=[a-z])", "", text)
    shown = flat(tomllib.loads(switched_on))
    assert shown == {one.key: one.default for one in SETTINGS if not one.key.startswith("watch.")}
    assert not flat(tomllib.loads(text)), "a default is switched on"


@pytest.mark.parametrize("name", ["config.toml", "keys/master.key", "keys/index.key", "keys/web.key"])
def test_nothing_that_is_there_is_written_over(name: str, tmp_path: Path) -> None:
    (tmp_path / "keys").mkdir()
    (tmp_path / name).write_text("mine")
    with pytest.raises(Conflict, match=name):
        write_first_installation(tmp_path, public_url="", random_bytes=os.urandom)
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [tmp_path / name]
    assert (tmp_path / name).read_text() == "mine"


def test_a_dangling_link_is_not_written_through(tmp_path: Path) -> None:
    (tmp_path / "config.toml").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(Conflict):
        write_first_installation(tmp_path, public_url="", random_bytes=os.urandom)
    assert not (tmp_path / "elsewhere").exists()


def test_a_second_setup_at_the_same_moment_is_not_written_over(tmp_path: Path) -> None:
    def drawn_while_another_writes(count: int) -> bytes:
        (tmp_path / "keys").mkdir(exist_ok=True)
        (tmp_path / "keys/web.key").write_text("theirs")
        return os.urandom(count)

    with pytest.raises(Conflict, match=r"web\.key"):
        write_first_installation(tmp_path, public_url="", random_bytes=drawn_while_another_writes)
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == ["web.key"]
    assert (tmp_path / "keys/web.key").read_text() == "theirs"


def test_a_first_installation_that_fails_leaves_nothing_behind(tmp_path: Path) -> None:
    (tmp_path / "keys").write_text("a file where a folder should be")
    with pytest.raises(Misconfigured, match="cannot be written"):
        write_first_installation(tmp_path, public_url="", random_bytes=os.urandom)
    with pytest.raises(Misconfigured, match="public_url"):
        write_first_installation(tmp_path / "x", public_url="bell", random_bytes=os.urandom)
    assert not (tmp_path / "x").exists()


def private(path: Path, text: str) -> Path:
    path.write_text(text)
    path.chmod(0o600)
    return path


def test_a_key_file_gives_its_id_and_its_bytes(tmp_path: Path) -> None:
    secret = os.urandom(32)
    assert read_key(private(tmp_path / "a", key_line(secret))) == ("k1", secret)
    assert read_key(private(tmp_path / "a", key_line(secret, key_id="k2").strip() + "=\r\n")) == ("k2", secret)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\n",
        "k1:",
        "k1",
        key_line(b"\x00" * 32),
        key_line(bytes(range(31))),
        key_line(bytes(range(33))),
        key_line(bytes(range(32))) * 2,
        key_line(bytes(range(32)))[:-2],
        "K1:" + key_line(bytes(range(32)))[3:],
        "x" * 9000,
    ],
)
def test_a_bad_key_file_is_refused_without_a_word_of_it(text: str, tmp_path: Path) -> None:
    with pytest.raises(Misconfigured) as refused:
        read_key(private(tmp_path / "a.key", text), field="keys.master_key_file")
    assert refused.value.field == "keys.master_key_file"
    assert len(text) < 8 or text[3:-2] not in str(refused.value)


def test_a_password_is_one_line_for_its_owner_only(tmp_path: Path) -> None:
    file = private(tmp_path / "password", f" {SECRET} \r\n")
    assert read_password(file) == f" {SECRET} "
    file.chmod(0o640)
    with pytest.raises(Misconfigured, match="chmod 600"):
        read_password(file)
    for text in ("", "\n", "a\nb\n"):
        with pytest.raises(Misconfigured, match="one line"):
            read_password(private(file, text))
    with pytest.raises(Misconfigured, match="does not exist"):
        read_password(tmp_path / "none")
