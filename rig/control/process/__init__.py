"""The process that the machine runs in: its lock, its signals, its computer, its service."""
