"""Makes the environment and starts the project's commands, with nothing but Python's standard library.

python3 bootstrap.py demo        the running program with invented repairs (needs Python 3.11+ only)
python3 bootstrap.py install     everything that tests and benchmarks need; runs nothing
python3 bootstrap.py test        installs what is missing, then all tests
python3 bootstrap.py quick       the tests that start no process (under a minute)
python3 bootstrap.py lint        style and types
python3 bootstrap.py benchmark   one JSON line per figure
python3 bootstrap.py deep        the tests that take long
python3 bootstrap.py lock        new locks from pyproject.toml (for whoever changes a dependency)

What follows a command is handed on: `python3 bootstrap.py test tests/core -k slots`.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

HERE = Path(__file__).resolve().parent
VENV = HERE / ".venv"
PYTHON = VENV / "bin" / "python"
UV = VENV / "bin" / "uv"
LOCKS = HERE / "requirements"
NEEDED = (3, 11)
# Packages younger than this day are not locked: some mirrors do not have them yet.
LOCKED_ON = "2026-11-18"
# Debian's package -> a file that shows it is there. Java runs the HTML checker; libatomic1 is what the
# browser's driver is linked against.
APT_PARTS = {
    "age": "usr/bin/age",
    "chromium": "usr/bin/chromium",
    "default-jre-headless": "usr/bin/java",
    "dovecot-imapd": "usr/sbin/dovecot",
    "fonts-dejavu-core": "usr/share/fonts/truetype/dejavu/DejaVuSans.ttf",
    "libatomic1": "usr/lib/*/libatomic.so.1",
    "mariadb-server-core": "usr/sbin/mariadbd",
}
# The same, installed only where CI=true: a mail server would push out the one that somebody's own machine has.
APT_PARTS_OF_CI = {
    "exim4-daemon-light": "usr/sbin/exim4",
    "fiu-utils": "usr/lib/fiu/fiu_posix_preload.so",
}
NODE_MODULES = HERE / "tests" / "node_modules"


def say(text: str) -> None:
    """Tell the person at the terminal what takes time now."""
    print(f"[shelfbell] {text}", file=sys.stderr, flush=True)


def call(command: Sequence[object]) -> int:
    """Run a command here; its exit code."""
    return subprocess.run([str(part) for part in command], cwd=HERE, check=False).returncode


def run(command: Sequence[object]) -> None:
    """Run a command; end with its code when it fails, after it has said why."""
    code = call(command)
    if code:
        say(f"this failed: {' '.join(str(part) for part in command)}")
        sys.exit(code)


def check_python() -> None:
    """Refuse an older Python before anything is touched."""
    if sys.version_info < NEEDED:
        wanted, got = ".".join(map(str, NEEDED)), ".".join(map(str, sys.version_info[:3]))
        sys.exit(f"Shelfbell needs Python {wanted} or newer; this is {got}. Try: python{wanted} bootstrap.py")


# The Python side: one environment, two sets of packages.


def make_environment(kind: str) -> None:
    """Have `.venv` hold the packages of `requirements/<kind>.txt`; a stamp remembers the finished set."""
    stamps = {name: VENV / f".{name}-is-installed" for name in ("run", "test")}
    enough = {"run": ("run", "test"), "test": ("test",)}[kind]
    if any(_read(stamps[name]) == fingerprint(name) for name in enough):
        return
    make_venv()
    lock = LOCKS / f"{kind}.txt"
    say(f"installing the locked packages ({lock.relative_to(HERE)})")
    install(["--require-hashes", "-r", lock])
    install(["--no-deps", "--no-build-isolation", "--editable", HERE])
    stamps[kind].write_text(fingerprint(kind))


def fingerprint(kind: str) -> str:
    """Changes with the lock, the project's own description, the Python, and the place."""
    parts = [LOCKS / f"{kind}.txt", HERE / "pyproject.toml"]
    whole = hashlib.sha256(f"{sys.version_info[:2]} {HERE}".encode())
    for part in parts:
        whole.update(part.read_bytes())
    return whole.hexdigest()


def make_venv() -> None:
    """A venv with pip, and uv beside it when its hash-pinned wheel can be had."""
    if not PYTHON.exists():
        say("making .venv")
        if call([sys.executable, "-m", "venv", VENV]):
            shutil.rmtree(VENV, ignore_errors=True)
            sys.exit("Python's venv module is not complete. On Debian, as root: apt-get install python3-venv")
    if not UV.exists():
        pip = [PYTHON, "-m", "pip", "install", "-q", "--disable-pip-version-check"]
        if call([*pip, "--require-hashes", "-r", LOCKS / "uv.txt"]):
            say("uv is not to be had here; pip does the work, only slower")


def install(arguments: Sequence[object]) -> None:
    """uv where it is there (three times as fast), else pip: the same lock, the same hashes."""
    if UV.exists() and not os.environ.get("SHELFBELL_PIP_ONLY"):
        if call([UV, "pip", "install", "-q", "--python", PYTHON, *arguments]) == 0:
            return
        say("uv could not do it; trying pip")
    run([PYTHON, "-m", "pip", "install", "-q", "--disable-pip-version-check", *arguments])


def _read(file: Path) -> str:
    return file.read_text() if file.exists() else ""


# The rest of the machine: what only tests need.


def install_test_parts() -> None:
    """Browser, IMAP server, Java, npm's parts. What cannot be had is said aloud, and its tests skip."""
    parts = APT_PARTS | (APT_PARTS_OF_CI if in_ci() else {})
    missing = [name for name, file in parts.items() if not any(Path("/").glob(file))]
    if not shutil.which("npm"):
        missing += ["nodejs", "npm"]
    if missing and os.geteuid() == 0 and shutil.which("apt-get"):
        apt_install(missing)
    elif missing:
        complain(f"missing: {', '.join(missing)}. As root on Debian: apt-get install {' '.join(missing)}")
    install_node_parts()


def apt_install(packages: list[str]) -> None:
    """Debian's packages, without starting the services that some of them bring."""
    say(f"installing Debian's {', '.join(packages)}")
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    policy = Path("/usr/sbin/policy-rc.d")
    ours = not policy.exists()
    if ours:
        policy.write_text("#!/bin/sh\nexit 101\n")
        policy.chmod(0o755)
    try:
        for words in (["update"], ["install", "--no-install-recommends", *packages]):
            done = subprocess.run(
                ["apt-get", "-qq", "-y", "-o", "DPkg::Lock::Timeout=300", *words],
                env=quiet, stdout=subprocess.DEVNULL, check=False,
            )  # fmt: skip
            if done.returncode:
                complain(f"apt-get {words[0]} failed")
                return
    finally:
        if ours:
            policy.unlink()


def install_node_parts() -> None:
    """A second calendar parser and an HTML checker, from the committed package-lock."""
    lock = HERE / "tests" / "package-lock.json"
    stamp = NODE_MODULES / ".is-installed"
    wanted = hashlib.sha256(lock.read_bytes()).hexdigest()
    if _read(stamp) == wanted:
        return
    if not shutil.which("npm"):
        complain("npm is missing, so the second calendar parser and the HTML checker are too")
        return
    say("installing the second calendar parser and the HTML checker (npm ci)")
    command = ["npm", "ci", "--silent", "--no-audit", "--no-fund", "--ignore-scripts", "--prefix", "tests"]
    if call(command):
        complain("npm ci failed, so the second calendar parser and the HTML checker are missing")
        return
    stamp.write_text(wanted)


def complain(text: str) -> None:
    """A part that tests need is not there: a warning at home, the end where CI=true."""
    say(f"WARNING: {text}")
    if in_ci():
        sys.exit("A missing part is a failure where CI=true.")
    say("the tests that need it will be skipped, and the end of the run lists them")


def in_ci() -> bool:
    """Whether this is the gate's machine, where a missing part is a failure."""
    return os.environ.get("CI", "").lower() == "true"


# The commands.


def demo(rest: list[str]) -> None:
    """The running program with invented repairs."""
    make_environment("run")
    become([PYTHON, "-m", "notify", "demo", *rest])


def install_all(rest: list[str]) -> None:
    """Everything that tests and benchmarks need."""
    make_environment("test")
    install_test_parts()
    say("ready")


def test(rest: list[str]) -> None:
    """All tests but the deep ones."""
    install_all([])
    pytest(["-m", "not deep and not stands_back", *(rest or spread(more=1))])


def quick(rest: list[str]) -> None:
    """What starts no process."""
    make_environment("test")
    pytest(["-m", "not real and not deep and not long", *(rest or spread())])


def deep(rest: list[str]) -> None:
    """What takes long."""
    install_all([])
    pytest(["-m", "deep or stands_back", *rest])


def lint(rest: list[str]) -> None:
    """Style, then types; both are always run, so that one visit shows all."""
    make_environment("test")
    commands = [[PYTHON, "-m", "ruff", "check", *(rest or ["."])], [PYTHON, "-m", "mypy", *rest]]
    sys.exit(max([call(one) for one in commands]))


def benchmark(rest: list[str]) -> None:
    """One JSON line per figure."""
    install_all([])
    become([PYTHON, "-m", "tests.bench", *rest])


def lock(rest: list[str]) -> None:
    """Write the locks anew: only versions, markers and hashes, no address of any server."""
    make_venv()
    options = [
        "--universal", "--python-version", "3.11", "--generate-hashes", "--no-header", "--no-annotate",
        "--no-emit-index-url", "--no-emit-find-links", "--exclude-newer", LOCKED_ON, "-q", *rest,
    ]  # fmt: skip
    compile_ = [UV, "pip", "compile", *options]
    product = ["pyproject.toml", "--extra", "postgres", "--extra", "holidays", "--extra", "mariadb", "--group", "build"]
    run([*compile_, *product, "-o", LOCKS / "run.txt"])
    run([*compile_, *product, "--group", "test", "-c", LOCKS / "run.txt", "-o", LOCKS / "test.txt"])
    run([*compile_, "--group", "uv", "-o", LOCKS / "uv.txt"])


def spread(more: int = 0) -> list[str]:
    """A worker for each core and so many more, where tests wait for servers of theirs; on one core none.

    Figures and closing line stay the same.
    """
    cores = os.cpu_count() or 1
    return ["-n", str(min(cores, 4) + more), "--dist", "loadscope", "--no-loadscope-reorder"] if cores > 1 else []


def pytest(arguments: list[str]) -> None:
    """pytest's own closing line is the last thing to be seen."""
    become([PYTHON, "-m", "pytest", *arguments])


def become(command: Sequence[object]) -> None:
    """Give this process to the command, so that Ctrl-C and the exit code are its own."""
    os.chdir(HERE)
    sys.stdout.flush()
    os.execv(str(command[0]), [str(part) for part in command])


COMMANDS: dict[str, Callable[[list[str]], None]] = {
    "demo": demo, "install": install_all, "test": test, "quick": quick, "lint": lint,
    "benchmark": benchmark, "deep": deep, "lock": lock,
}  # fmt: skip


def main(arguments: list[str]) -> None:
    """Do the command that the first word names."""
    check_python()
    if not arguments or arguments[0] not in COMMANDS:
        sys.exit(f"{__doc__}\nCommands: {', '.join(COMMANDS)}")
    COMMANDS[arguments[0]](arguments[1:])


if __name__ == "__main__":
    main(sys.argv[1:])
