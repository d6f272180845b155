"""The time step of the simulation."""

STEPS_A_SECOND = 2
STEP_S = 1 / STEPS_A_SECOND
