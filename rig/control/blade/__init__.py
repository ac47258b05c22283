"""The bar that pushes the bag to its start place: its axis, its plan, placing with it."""
