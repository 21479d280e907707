"""What one operating system has and another has not stands in one module; here it is listed."""

from __future__ import annotations

import ast
import os
import plistlib
import re
import socket
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from conftest import ROOT
from witnessmark import machine
from witnessmark.cli.main import COMMANDS

SRC = ROOT / "src" / "witnessmark"
#: Modules of the standard library that some systems lack, or that behave by the system.
MODULES = {
    "fcntl", "grp", "msvcrt", "ossaudiodev", "platform", "posix", "pty", "pwd", "readline",
    "resource", "signal", "spwd", "syslog", "termios", "tty", "winreg", "winsound", "_winapi",
}  # fmt: skip
#: Names of ``os`` and of paths that some systems lack, or answer otherwise.
OF_OS = re.compile(
    r"fork|forkpty|kill|killpg|nice|set\w*id|get\w*uid|get\w*gid|geteuid|getpgid|umask|mkfifo|mknod"
    r"|chmod|lchmod|fchmod|chown|fchown|link|symlink|readlink|statvfs|fstatvfs|sched_\w+|wait\w*"
    r"|getloadavg|uname|sync|posix_\w+|pread\w*|pwrite\w*|memfd_create|openpty|O_\w+|open|name"
    r"|add_signal_handler"
)
OF_PATHS = {"chmod", "lchmod", "hardlink_to", "symlink_to"}
WORDS = re.compile(r"^/(?:proc|dev|etc|tmp|var|usr|sys)/|^SO_REUSE|^/bin/|^fork$")
KEYWORDS = {"preexec_fn", "start_new_session", "process_group", "umask", "creationflags"}

#: Every such call of the package, module by module.
LISTED = {
    "machine.py": {
        "import signal", "import resource", "os.O_APPEND", "os.O_CREAT", "os.O_EXCL",
        "os.O_RDONLY", "os.O_RDWR", "os.O_TRUNC", "os.O_WRONLY", "os.getuid", "os.name",
        "os.nice", "os.open", "path.chmod", "/proc/self/oom_score_adj", "of_system.SO_REUSEADDR",
    },
}  # fmt: skip


def calls(text: str) -> set[str]:
    """Return what a module asks of the system it runs on."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found |= {f"import {a.name}" for a in node.names if a.name.split(".")[0] in MODULES}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in MODULES:
            found.add(f"import {node.module}")
        elif isinstance(node, ast.ImportFrom) and node.module == "os":
            found |= {f"os.{a.name}" for a in node.names if OF_OS.fullmatch(a.name)}
        elif isinstance(node, ast.Attribute):
            owner = node.value.id if isinstance(node.value, ast.Name) else "path"
            if (
                (owner == "os" and OF_OS.fullmatch(node.attr))
                or node.attr in OF_PATHS
                or node.attr == "add_signal_handler"
                or node.attr.startswith("SO_REUSE")
            ):
                found.add(f"{owner}.{node.attr}")
            elif owner == "sys" and node.attr in {"platform", "getwindowsversion"}:
                found.add(f"sys.{node.attr}")
        elif isinstance(node, ast.keyword) and node.arg in KEYWORDS:
            found.add(f"{node.arg}=")
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found |= {node.value} if WORDS.match(node.value) else set()
    return found


def test_every_call_of_one_system_is_listed() -> None:
    found = {
        path.relative_to(SRC).as_posix(): calls(path.read_text(encoding="utf-8"))
        for path in SRC.rglob("*.py")
    }
    assert len(found) > 300
    assert {name: each for name, each in found.items() if each} == LISTED


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("import fcntl", {"import fcntl"}),
        ("from signal import SIGTERM", {"import signal"}),
        ("os.fork()", {"os.fork"}),
        ("os.killpg(1, 2)", {"os.killpg"}),
        ("Path(x).chmod(0o600)", {"path.chmod"}),
        ("from os import setsid", {"os.setsid"}),
        ("open('/proc/meminfo')", {"/proc/meminfo"}),
        ("if sys.platform == 'x': pass", {"sys.platform"}),
        ("Popen(x, preexec_fn=y)", {"preexec_fn="}),
        ("get_context('fork')", {"fork"}),
        ("os.replace(a, b); os.fsync(c); p.open('rb')", set()),
    ],
)
def test_a_call_of_one_system_would_be_seen(text: str, seen: set[str]) -> None:
    assert calls(text) == seen


def test_every_reader_and_writer_of_text_names_its_encoding() -> None:
    """The default of one system is not that of another."""
    loose = []
    for path in SRC.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                named = {k.arg for k in node.keywords}
                texts = node.func.attr in {"read_text", "write_text"} and not node.args[1:]
                if texts and "encoding" not in named and node.func.attr == "write_text":
                    loose.append(f"{path.name}:{node.lineno}")
                if node.func.attr == "read_text" and not node.args and "encoding" not in named:
                    loose.append(f"{path.name}:{node.lineno}")
                if node.func.attr == "open" and "encoding" not in named and node.args:
                    mode = node.args[0]
                    if isinstance(mode, ast.Constant) and mode.value in {"r", "w", "a", "x"}:
                        loose.append(f"{path.name}:{node.lineno}")
    assert loose == []


EXAMPLES = ROOT / "docs" / "examples"


def test_every_example_to_start_it_can_be_read_and_calls_a_command() -> None:
    page = (ROOT / "docs/other_systems.md").read_text(encoding="utf-8")
    service = plistlib.loads((EXAMPLES / "witnessmark.plist").read_bytes())
    assert Path(service["ProgramArguments"][0]).name == "witnessmark"
    subprocess.run(["sh", "-n", EXAMPLES / "witnessmark.command"], check=True)
    assert os.access(EXAMPLES / "witnessmark.command", os.X_OK)
    for path in EXAMPLES.iterdir():
        if path.suffix in {".yaml", ".timer"}:
            continue
        text = path.read_bytes().decode("utf-8")
        assert f"(examples/{path.name})" in page, path.name
        assert (text.count("\r\n") == text.count("\n")) == (path.suffix == ".cmd"), path.name
        if path.suffix != ".plist":
            for word in re.findall(r"(?:^|[/ \"])witnessmark ([a-z]+) [\"\\\\/$%]", text):
                assert word in COMMANDS, path.name
        assert "witnessmark" in text


@pytest.fixture(params=["here", "elsewhere"])
def system(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Both twins of each call; the other one by another answer to the one question."""
    if request.param == "elsewhere":
        monkeypatch.setattr(machine, "posix", lambda: False)
    return str(request.param)


def test_a_new_file_is_new_private_and_written_as_it_is(system: str, tmp_path: Path) -> None:
    path = tmp_path / "a"
    with os.fdopen(machine.opened_new(path, private=True), "wb") as file:
        file.write(b"a\nb\r\n")
    assert path.read_bytes() == b"a\nb\r\n", system
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with pytest.raises(FileExistsError):
        machine.opened_new(path)
    os.close(machine.opened_new(path, over=True))
    assert path.read_bytes() == b""
    machine.to_disk(path)
    machine.to_disk(tmp_path)
    machine.to_disk(tmp_path / "nothing")


def test_a_frozen_file_is_replaced_and_taken_away(system: str, tmp_path: Path) -> None:
    old, fresh = tmp_path / "old", tmp_path / "fresh"
    old.write_bytes(b"old")
    machine.freeze(old)
    fresh.write_bytes(b"fresh")
    machine.freeze(fresh)
    machine.put_in_place(fresh, old)
    assert old.read_bytes() == b"fresh", system
    machine.take_away(old)
    machine.take_away(old)
    assert list(tmp_path.iterdir()) == []


def test_what_others_may_do_is_told_where_it_is_known(system: str, tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"")
    path.chmod(0o666)
    known = system == "here"
    assert machine.open_to_others(path) == known
    assert machine.written_by_others(path) == known
    machine.close_to_others(path)
    assert stat.S_IMODE(path.stat().st_mode) == (0o600 if known else 0o666)
    assert not machine.open_to_others(path)
    (tmp_path / "link").symlink_to(path)
    assert machine.written_by_others(tmp_path / "link"), "a link is nobody's own file"


def test_a_port_that_was_let_go_can_be_taken_again(system: str) -> None:
    for _ in range(2):
        with socket.socket() as listening:
            machine.listen_alone(listening)
            listening.bind(("127.0.0.1", 0))
            listening.listen()
            assert listening.getsockname()[1] > 0, system


def test_limits_are_asked_for_where_there_are_any(system: str) -> None:
    import resource

    before = resource.getrlimit(resource.RLIMIT_NOFILE)
    machine.many_handles(min(before[0] + 1, before[1]) if before[0] > 0 else 1)
    now = resource.getrlimit(resource.RLIMIT_NOFILE)
    assert now[1] == before[1]
    assert now[0] >= before[0], system
    resource.setrlimit(resource.RLIMIT_NOFILE, before)


def test_memory_that_a_sum_leaves_is_used_again() -> None:
    """Pages fetched anew for arrays of two megabytes, in a process of its own: hardly any."""
    program = (
        "import resource, numpy as np\n"
        "from witnessmark import machine\n"
        "def faults():\n"
        "    start = resource.getrusage(resource.RUSAGE_SELF).ru_minflt\n"
        "    for _ in range(50):\n"
        "        a, b = np.ones(1 << 18), np.ones(1 << 18)\n"
        "        del a, b\n"
        "    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - start\n"
        "before = faults()\n"
        "machine.keep_freed_memory()\n"
        "faults()\n"
        "print(before, faults())\n"
    )
    told = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
    )  # fmt: skip
    before, after = map(int, told.stdout.split())
    assert after <= max(before // 10, 100)


@pytest.mark.parametrize(
    ("code", "name"), [(-9, "SIGKILL"), (-250, "signal 250"), (0, ""), (3, ""), (0xC0000005, "")]
)
def test_how_a_process_ended(code: int, name: str) -> None:
    """The last is what Windows gives for an access violation (its own list of status values)."""
    assert machine.ended_by(code) == name
