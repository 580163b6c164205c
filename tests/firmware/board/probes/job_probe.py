"""The job meant for the emulated RP2040 (test_on_rp2040.py), piece by piece over the fake machine.

micropython job_probe.py job.json          prints one JSON list: the pins that are high after each piece
"""

import json
import sys

import machine

with open(sys.argv[1]) as file:
    job = json.load(file)
names = {"__name__": "__main__"}
steps = []
for code in job["code"]:
    exec(code, names)
    steps.append([pin for pin in machine.state.levels if machine.state.levels[pin]])
print(json.dumps(steps))
