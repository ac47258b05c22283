"""A simulated I2C bus and the chips on it, down to their registers."""
