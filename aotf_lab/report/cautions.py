"""The cautions that stand in every report.

General facts: laser classes of IEC 60825-1, controlled use after ANSI Z136.1 (from memory), RF
practice (common practice, no source). Local codes and licensed practice come first.
"""

__all__ = ["CAUTIONS"]

CAUTIONS = (
    "Local codes, your laser safety officer and licensed practice come before anything printed here.",
    "Laser beams: know the class on the label; class 3B and 4 beams hurt before you can blink. Wear eyewear rated for "
    "the wavelength and optical density, align at the lowest power, block stray orders, and remember that a tunable "
    "filter sends light into two directions.",
    "RF: never run an amplifier without its load, switch the drive off before you unplug anything, and keep fingers "
    "off open connectors: a watt burns.",
    "The drive limit comes from the crystal's own papers. Raise the power slowly and watch the temperature.",
    "Mains-powered supplies: leave covers and earth where they are; repairs are for licensed people.",
)
