"""What a person starts: runs in a row, guided calibration."""
