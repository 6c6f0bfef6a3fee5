"""What the screens are made of: each module has pure drawing functions (numbers in, cells out) and, where it moves, a
widget that calls them. The drawing is testable without an app."""
