"""The machine of a turbine: wheel, generator and cable, from the few figures that an owner knows of them."""

from collections.abc import Sequence
from dataclasses import replace

from becksim.electrics.cable import cable_ohm
from becksim.electrics.generator import Generator, fit_generator
from becksim.electrics.tracker import Line
from becksim.electrics.wear import bucket_factor
from becksim.electrics.wheel import Wheel, best_speed_m_s, shaft_power_w
from becksim.errors import UserError
from becksim.site_tables.turbine import Turbine


def build_machine(
    turbine: Turbine,
    file: str,
    flows_m3_s: Sequence[float],
    velocities_m_s: Sequence[float],
    qualities: Sequence[float],
) -> tuple[Wheel, Generator, Line]:
    """Find windage and generator losses at the shaft's best power with all its jets open.

    They are those of worn-in buckets; the wheel as it runs has the buckets it has.

    Parameters
    ----------
    turbine : Turbine
        Its tables in the site file: a site itself, for its main wheel, or its spare.
    file : str
        The site file's name, for complaints.
    flows_m3_s, velocities_m_s, qualities : sequence of float, one a jet
        What all jets give together, as for `Wheel.coefficients`.

    Returns
    -------
    tuple
        Wheel, generator, and generator with rectifier and cable as the buckets feel them.

    Raises
    ------
    UserError
        If the generator's efficiency cannot be with what else is known of it.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> site = load_site("upland-hostel")
    >>> wheel, generator, line = build_machine(site, site.path.name, [0.0084], [32.0], [1.0])
    >>> round(generator.resistance_ohm, 2)
    0.33
    """
    table = turbine.wheel
    wheel = Wheel(
        table.pitch_diameter_mm / 1000.0, table.best_speed_ratio, table.peak_efficiency_percent / 100.0
    )
    parabola = wheel.coefficients(flows_m3_s, velocities_m_s, qualities)
    best_m_s = best_speed_m_s(*parabola, 0.0)
    windage_w = table.windage_percent / 100.0 * shaft_power_w(*parabola, 0.0, best_m_s)
    windage_w_s3_m3 = windage_w / best_m_s**3
    best_m_s = best_speed_m_s(*parabola, windage_w_s3_m3)
    shaft_w = shaft_power_w(*parabola, windage_w_s3_m3, best_m_s)
    generator = _build_generator(turbine, file, shaft_w, wheel.rpm(best_m_s))
    wheel = replace(
        wheel,
        peak_efficiency=wheel.peak_efficiency * bucket_factor(table.bucket_hours),
        windage_w_s3_m3=windage_w_s3_m3,
    )
    return wheel, generator, _build_line(turbine, wheel, generator)


def _build_generator(turbine: Turbine, file: str, shaft_w: float, rpm: float) -> Generator:
    table = turbine.generator
    percent, volts_per_rpm = turbine.wheel.generator_efficiency_percent, turbine.wheel.voltage_v_per_rpm
    try:
        return fit_generator(
            volts_per_rpm,
            shaft_w,
            rpm,
            percent / 100.0,
            rectifier_drop_v=table.rectifier_drop_v,
            resistance_ohm=None if table.resistance_mohm is None else table.resistance_mohm / 1000.0,
            iron_loss_w=table.iron_loss_w,
        )
    except ValueError as error:
        raise UserError(
            f"{file}: [{turbine.prefix}wheel] generator_efficiency_percent is {percent:g}; {error}, at this "
            f"site's best power of {shaft_w:.0f} W at {rpm:.0f} rpm and {volts_per_rpm * rpm:.0f} V. "
            f"Give a lower efficiency, or other figures in [{turbine.prefix}generator]."
        ) from error


def _build_line(turbine: Turbine, wheel: Wheel, generator: Generator) -> Line:
    rpm_s_m = wheel.rpm(1.0)
    resistance_ohm = generator.resistance_ohm
    if turbine.cable is not None:
        resistance_ohm += cable_ohm(
            turbine.cable.length_m, turbine.cable.section_mm2, turbine.cable.conductor_class
        )
    return Line(
        generator.volts_per_rpm * rpm_s_m,
        resistance_ohm,
        generator.rectifier_drop_v,
        wheel.windage_w_s3_m3,
        generator.steady_w_per_rpm * rpm_s_m,
        generator.eddy_w_per_rpm2 * rpm_s_m * rpm_s_m,
    )
