"""From wire to signal: the magnetic field of the loops, where the receiver reacts, and how that is measured.

The modules take wires as plain arrays (:mod:`~parcelfence.field.current`), sum their field with a compiled kernel
(:mod:`~parcelfence.field.flux`), and derive from it the zones, the reach along the wire, the setting that gives a
wanted reach, and the setting that a walk test reveals.  The soil does not enter: see the README on what the model
leaves out.
"""
