"""Drivers for what hangs on the pins and on the bus."""
