"""What a driver must be able to do, asked of it by a program: `python -m gateway check-driver`.

`checks` are the questions, `kit` asks them of one slot of one driver and puts the slot back.
Neither needs anything but the driver.
"""
