"""The reference gateway: a small program between Portaledger and the machines of one site.

It fetches what slots should hold, loads it, reads it back and reports that and every shot. It sets
recipe slots only and never commands a boiler, a pump or a valve. It imports no Django and nothing
else of Portaledger: a box at a bar needs this folder and five libraries.
"""

VERSION = "0.1.0"
