"""One model of a study's slides: what the bags, treatments, boards, air and readers each add."""
