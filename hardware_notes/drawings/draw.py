"""Writes every drawing of hardware_notes: python hardware_notes/drawings/draw.py"""

from pathlib import Path

import instruments
import motors
import plant

HERE = Path(__file__).parent
DRAWINGS = {
    "overview": plant.overview,
    "supply": plant.supply,
    "current-loop": instruments.current_loop,
    "three-wire-transmitter": instruments.three_wire,
    "dividers": instruments.dividers,
    "rs485": instruments.rs485,
    "valve-three-wire": motors.three_wire_valve,
    "valve-two-wire": motors.two_wire_valve,
    "h-bridge": motors.h_bridge,
    "stop": motors.stop,
    "outputs": motors.outputs,
}


def main():
    """All of them, over the old ones."""
    for name, make in DRAWINGS.items():
        (HERE / f"{name}.svg").write_text(make().svg(), encoding="utf-8")


if __name__ == "__main__":
    main()
