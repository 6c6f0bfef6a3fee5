"""The report: a job as one HTML file that can be handed over, printed and kept.

Why it exists: what was done to a machine is worth what its owner can show of it years later, to somebody who has never
seen this program. The mistake prevented: a report that says more than was measured.

``facts``          a job -> frozen facts: every state of the rail, every check, what was turned, what was not done
``tools``          the instruments and how far they were checked
``environment``    notes and temperatures
``shapes``         a picture as areas, lines and words; ``svg`` and ``raster`` write it
``rail_drawing``   the rail picture, the same as on the screen
``strip_drawing``  a check's values between their limits; a value's course over months
``files``          where a report may be written
``page``           facts -> HTML (templates beside it)
"""
