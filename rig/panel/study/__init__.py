"""The study on the page: what is next, what was done, what the study says by now."""
