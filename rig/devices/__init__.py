"""Drivers for devices on the pins and on the bus."""
