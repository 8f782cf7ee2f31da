"""The main job, driven over HTTP as the demo's people, told line by line.

It knows nothing but addresses and sign-ins: no database, no broker, no code of the other folders.
Whatever it reports, a browser could have done. Run it with `make walkthrough`.
"""
