"""Simulated bars that pour by the shot model: it joins the gateway's bar to the model of a puck.

The gateway may import nothing of the product, the product nothing of the gateway; this stands
beside both, and nothing imports it. A bar's map names it: ``pour = "simulator.shot:pour"``.
"""
