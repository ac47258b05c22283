"""The state machine of a run and its interlocks."""
