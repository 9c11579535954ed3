"""Demo cases and the seeded program that draws them."""
