"""An independent multibody library, given the same blow, sends the body off alike."""

from __future__ import annotations

import numpy as np
import pytest

from crashworthy.evidence import crash_scenes as scenes

POINTS = ((0.05, 0.0, -0.02), (0.05, 0.03, -0.02), (0.1, 0.05, 0.0))


def _body(point: tuple[float, float, float]) -> str:
    """A rigid body with a small ball where it is struck, over a frictionless plane with a stiff spring."""
    contact = 'condim="1" solref="-1e9 0" solimp="1 1 0.001"'
    return f"""
    <mujoco><option timestep="1e-7" gravity="0 0 0" integrator="implicitfast"/>
      <worldbody><geom type="plane" size="1 1 1" {contact}/>
        <body><freejoint/>
          <inertial pos="0 0 0" mass="0.7" diaginertia="4e-4 7e-4 9e-4"/>
          <geom type="sphere" size="1e-4" pos="{point[0]} {point[1]} {point[2]}" {contact}/>
        </body></worldbody></mujoco>"""


@pytest.mark.parametrize("point", POINTS, ids=str)
def test_a_blow_off_centre_as_a_general_library_sees_it(point: tuple[float, float, float]) -> None:
    """Impulse and body rates of an elastic blow agree with a soft constraint solver to 1 % of the largest."""
    import mujoco

    model = mujoco.MjModel.from_xml_string(_body(point))
    data = mujoco.MjData(model)
    data.qpos[2] = -point[2] + 1e-4 + 1e-9
    data.qvel[:] = (2.0, 0.0, -8.0, 3.0, -5.0, 4.0)
    for _ in range(3000):
        mujoco.mj_step(model, data)
        if data.ncon == 0 and data.qvel[2] > -7.0:
            break  # parted: from here on the body only turns freely
    ours = scenes.offset_impact(point)
    assert ours.impulse[0, 0] == pytest.approx(0.7 * (data.qvel[2] + 8.0), rel=0.01)
    rates = [ours.scalars[f"w{axis}"][0] for axis in "xyz"]
    np.testing.assert_allclose(rates, data.qvel[3:6], atol=0.01 * np.abs(rates).max())
