"""How a stub behaves: SI floats and arrays in, SI floats and arrays out.

The modules, in the order in which a geometry becomes a notch::

    barrel              the geometry of a barrel: levels of copper and laminate, and its end
    electrostatics      potential and field energy around a barrel, on a grid
    capacitance         one such solution for a whole barrel, divided among its sections
    sections            a barrel cut into sections, each from the middle of a plane to that of a cavity, and its end
    solved_barrel       all of this, once for each distinct geometry
    return_path         where the current of a barrel returns: posts, a ring, or planes without end
    cavity              the impedance that a cavity between two planes then puts in series with the barrel
    multipole, hankel   the waves between the planes that a cavity adds up
    reflection_memory   what return posts send back to a barrel, remembered as polynomials
    dielectric          permittivity over frequency
    skin_effect         resistance of the plating
    feed                the inductance between the traces of a net and the first plane
    packing, chain      many solved barrels as arrays; their line constants, input admittance and two-port
    reactance           frequencies where the reactance of a chain vanishes
    power_curve         the power that a stub leaves in its line, over frequency
    notch               the first notch, sharp or blurred
    loss_curve          the 1 dB frequency, and the greatest loss up to a frequency
    two_stubs, pair     two stubs of one hole, and the two barrels of a pair

Beside them stand the uniform line, ``uniform_line`` for arrays and ``single_line`` for one stub in plain numbers, and
the tools ``sweep``, ``chebyshev``, ``bracketed_root`` and ``arrays``.
"""
