"""From wire to electrical values: resistance, inductance, impedance, and what the loop induces in buried lines.

Everything is computed from the geometry of the wire and handbook properties of its conductor; whether a given
transmitter can drive the loop is answered from its rating.
"""
