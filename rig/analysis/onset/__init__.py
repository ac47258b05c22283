"""From the edges of the beams to the moment at which the bag began to slide."""
