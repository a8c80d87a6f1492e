"""How a stub behaves: SI floats and arrays in, SI floats and arrays out."""
