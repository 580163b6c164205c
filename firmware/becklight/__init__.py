"""The device package of becklight: what decides in the powerhouse, and the same on the desk."""

VERSION = "0.1.0"
