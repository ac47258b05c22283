"""What a study says, to look at and to hand on: figures and one page."""
