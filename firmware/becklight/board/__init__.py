"""The board itself: pins, converters, clock, lines. The only files that import machine, time or asyncio."""
