"""The phone as the sensor: from what it read on the board to a slide angle with its layers."""
