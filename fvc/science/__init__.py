"""What a product does, estimated from published chemistry: pH, preservation, water activity, solubilising, density.

Values in, values out. Percents and grams stay exact fractions everywhere else; in here they become binary floats at
the door, since logarithms and activity coefficients have no exact value, and every result goes out rounded, with a band.
Nothing in here is a measurement, and no figure tells that a product is safe or keeps.
"""
