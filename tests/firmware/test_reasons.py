"""Reason codes and their names."""

import ast
import pathlib

from becklight import reasons

FIRMWARE = pathlib.Path(reasons.__file__).parent


def _constants():
    """The constants as written: (name, number). Parsed, since MicroPython folds some of them away."""
    found = []
    for node in ast.parse((FIRMWARE / "reasons.py").read_text()).body:
        is_constant = isinstance(node, ast.Assign) and isinstance(node.value, ast.Call)
        if is_constant and node.value.func.id == "const":
            found.append((node.targets[0].id, node.value.args[0].value))
    return found


def test_names_stay_in_step_with_the_numbers():
    constants = _constants()
    assert [number for _, number in constants] == list(range(len(reasons.NAMES)))
    assert [name.lower() for name, _ in constants] == list(reasons.NAMES)


def test_every_name_is_told_once():
    assert len(set(reasons.NAMES)) == len(reasons.NAMES)


def test_every_reason_is_used_by_the_logic():
    used = set()
    for path in FIRMWARE.rglob("*.py"):
        if path.name == "reasons.py":
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                if node.value.id == "reasons":
                    used.add(node.attr)
            elif isinstance(node, ast.ImportFrom) and node.module == "reasons":
                used.update(alias.name for alias in node.names)
    assert {name for name, _ in _constants()} - used == set()
