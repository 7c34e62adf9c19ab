"""What follows by physics or arithmetic from what was measured on a wall: pure functions, no judgement.

An unknown measurement gives an unknown reading (`None`), an impossible one a `ValueError` that names every
problem.
"""
