"""From run files to friction coefficients with uncertainties."""
