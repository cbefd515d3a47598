"""Where ffmpeg, the prober and the sandbox are found.

ffmpeg: ``FFMPEG`` if set, else PATH, else the copy inside the wheel imageio-ffmpeg.
Prober: ``FFPROBE`` if set, else PATH, else PyAV in a child process.
``MEDIA_TOOLS=wheels`` uses the wheels alone; ``MEDIA_TOOLS=system`` never does.
``MEDIA_SANDBOX=off`` does without bubblewrap; ``require`` refuses to work without it.
"""

import functools
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from studio.media.errors import Failed

TOOLS_VARIABLE = "MEDIA_TOOLS"
SANDBOX_VARIABLE = "MEDIA_SANDBOX"
PYAV_PROBER = Path(__file__).with_name("pyav_prober.py")


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that start-up found wrong. ``severity``: ``"error"`` or ``"warning"``."""

    code: str
    severity: str
    sentence: str
    hint: str


def _choice(variable: str, allowed: tuple[str, ...]) -> str:
    value = os.environ.get(variable, allowed[0])
    if value not in allowed:
        raise ValueError(f"{variable} is {value!r}; use one of {', '.join(allowed)}")
    return value


def _from_environment_or_path(tool: str) -> Path | None:
    variable = tool.upper()
    named = os.environ.get(variable)
    if named:
        found = shutil.which(named)
        if found is None:
            raise Failed("tool_missing", tool=named, variable=variable)
        return Path(found).resolve()
    found = shutil.which(tool)
    return Path(found).resolve() if found else None


def find_ffmpeg() -> Path:
    """Return the ffmpeg to run. Raises ``Failed("tool_missing")``."""
    source = _choice(TOOLS_VARIABLE, ("auto", "system", "wheels"))
    if source != "wheels" and (found := _from_environment_or_path("ffmpeg")):
        return found
    if source != "system" and find_spec("imageio_ffmpeg"):
        import imageio_ffmpeg

        return Path(imageio_ffmpeg.get_ffmpeg_exe()).resolve()
    raise Failed("tool_missing", tool="ffmpeg", variable="FFMPEG")


def find_ffprobe() -> Path | None:
    """Return ffprobe, or ``None`` where PyAV does its work. Raises ``Failed("tool_missing")``."""
    source = _choice(TOOLS_VARIABLE, ("auto", "system", "wheels"))
    if source != "wheels" and (found := _from_environment_or_path("ffprobe")):
        return found
    if source != "system" and find_spec("av"):
        return None
    raise Failed("tool_missing", tool="ffprobe", variable="FFPROBE")


def tool_folders(program: Path) -> list[Path]:
    """Folders outside /usr that ``program`` needs to see in the sandbox."""
    needed = [program.parent]
    if program == Path(sys.executable):
        needed += [Path(sys.prefix), Path(sys.prefix).resolve(), Path(sys.base_prefix).resolve()]
        needed.append(PYAV_PROBER.parent)
    return [folder for folder in dict.fromkeys(needed) if not folder.is_relative_to("/usr")]


SYSTEM_ARGUMENTS = (
    *("--unshare-all", "--die-with-parent", "--ro-bind", "/usr", "/usr"),
    *("--proc", "/proc", "--dev", "/dev", "--tmpfs", "/tmp", "--chdir", "/"),
    *("--ro-bind-try", "/etc/ld.so.cache", "/etc/ld.so.cache"),
    *("--ro-bind-try", "/etc/alternatives", "/etc/alternatives"),
)


def _root_links() -> list[str]:
    """/bin, /lib ... as this system has them: links into /usr, or folders of their own."""
    arguments: list[str] = []
    for name in ("bin", "sbin", "lib", "lib32", "lib64"):
        path = Path("/", name)
        if path.is_symlink():
            arguments += ["--symlink", str(path.readlink()), str(path)]
        elif path.is_dir():
            arguments += ["--ro-bind", str(path), str(path)]
    return arguments


def sandbox_prefix(program: Path) -> list[str]:
    """The bubblewrap command under which ``program`` sees a read-only system and no network."""
    bwrap = shutil.which("bwrap")
    if bwrap is None:
        raise Failed("tool_missing", tool="bwrap", variable="PATH")
    prefix = [bwrap, *SYSTEM_ARGUMENTS, *_root_links()]
    for folder in tool_folders(program):
        prefix += ["--ro-bind", str(folder), str(folder)]
    return prefix


@functools.cache
def _sandbox_fault(bwrap: str) -> str:
    """Why this bubblewrap does not run here, in its own words; empty when it does."""
    command = [bwrap, *SYSTEM_ARGUMENTS, *_root_links(), "/usr/bin/env", "true"]
    try:
        tried = subprocess.run(command, capture_output=True, timeout=10, text=True)
    except (OSError, subprocess.TimeoutExpired) as error:
        return str(error)
    words = tried.stderr.strip().splitlines() or [f"exit {tried.returncode}"]
    return words[0] if tried.returncode else ""


def sandbox_trouble() -> str:
    """Why children do not run inside bubblewrap; empty when they do. Found out once a process.

    Raises ``Failed("tool_missing")`` where the sandbox is required and does not work.
    """
    wish = _choice(SANDBOX_VARIABLE, ("auto", "off", "require"))
    if wish == "off":
        return f"{SANDBOX_VARIABLE} is off"
    bwrap = shutil.which("bwrap")
    fault = _sandbox_fault(bwrap) if bwrap else ""
    trouble = f"bwrap does not run here ({fault})" if fault else ""
    if bwrap is None:
        trouble = "bwrap was not found"
    if wish == "require" and trouble:
        raise Failed("tool_missing", tool="bwrap (working)", variable="PATH", detail=trouble)
    return trouble


def sandbox_available() -> bool:
    """Whether children run inside bubblewrap; found out once per process."""
    return not sandbox_trouble()


def check_tools() -> list[Problem]:
    """What a start-up check should say about the tools; an empty list when all is well."""
    problems: list[Problem] = []
    for name, find in (("ffmpeg", find_ffmpeg), ("ffprobe", find_ffprobe)):
        try:
            find()
        except Failed as error:
            hint = f"Install {name}, or set {name.upper()} to its path, or install the wheels."
            problems.append(Problem(f"{name}_missing", "error", error.sentence, hint))
        except ValueError as error:
            problems.append(Problem("bad_setting", "error", str(error), "Correct the variable."))
    try:
        if trouble := sandbox_trouble():
            sentence = f"Recordings are opened without a sandbox: {trouble}. "
            sentence += "Limits and whitelists still hold."
            hint = f"Install bubblewrap (bwrap), allow user namespaces, {SANDBOX_VARIABLE}=auto."
            problems.append(Problem("no_sandbox", "warning", sentence, hint))
    except (Failed, ValueError) as error:
        hint = f"Install bubblewrap, or set {SANDBOX_VARIABLE}=auto."
        why = f"{error} ({error.detail})" if isinstance(error, Failed) else str(error)
        problems.append(Problem("sandbox_missing", "error", why, hint))
    return problems
