"""A whole house in ten-second steps, from weather file and scenario to kilograms, hours and kWh.

Written from the equations up and apart from the program: it has its own reading of the weather,
moist air, air exchange, room, pad, line and balances, and takes from a scenario only what its
user wrote. What is reality here and an approximation there:

- A thermostat with a small hysteresis switches the plant. Its band is what makes an even load of
  duty f fire 4 N f (1 - f) times an hour; what evaporates cools the room and so lengthens the run.
- A humidistat runs the device while the room is below its set-point and the plant (or, on a call
  for humidity, the blower) runs. The room sags between firings and recovers in the next.
- Water stands in the line, cools parcel by parcel, and comes first at the next start.
- The pad is marched down its height (Runge and Kutta), in the air that it makes in the plenum.

Outdoor air, radiation and the plant's base load are the hour's means, as the weather tells them.
`python tests/whole_house_cases.py` prints it beside the program.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from pathlib import Path

C_PA, C_PV, C_W, H_FG, RATIO = 1006.0, 1860.0, 4186.0, 2.501e6, 0.621945
J_PER_KWH = 3.6e6
WARM_UP_H = 14 * 24
# Rates of the pad are marched at these relative humidities of the room and run on a parabola
# between them.
RH_NODES = (0.10, 0.30, 0.55)

# Sherman and Grimsrud 1980, coefficients of the Handbook of Fundamentals 2005 ch. 27:
# stack by storeys, wind by shelter class and storeys, for areas in cm2 and flows in l/s.
STACK = (0.000145, 0.000290, 0.000435)
WIND = (
    (0.000319, 0.000420, 0.000494),
    (0.000246, 0.000325, 0.000382),
    (0.000174, 0.000231, 0.000271),
    (0.000104, 0.000137, 0.000161),
    (0.000032, 0.000042, 0.000049),
)
# Share of a day's moisture in each of its hours; the project's default profile.
PROFILE = (
    *([0.025] * 6), 0.055, 0.075, 0.05, 0.03, 0.03, 0.035, 0.045, 0.03, 0.03, 0.03,
    0.04, 0.07, 0.075, 0.07, 0.06, 0.055, 0.04, 0.03,
)  # fmt: skip
# ANSI/ASHRAE 160-2009, from memory: kg a day by bedrooms, one more for each further.
DESIGN_KG_DAY = (8.0, 12.0, 14.0, 15.0)
# Conductivity of a line's wall [W/(m K)] and its emissivity, as the program's documentation has it.
MATERIALS = {
    "copper": (390.0, 0.05),
    "pex": (0.40, 0.90),
    "cpvc": (0.14, 0.90),
    "polyethylene": (0.40, 0.90),
    "": (0.40, 0.90),
}


# Moist air: Hyland and Wexler 1983 as printed in the Handbook of Fundamentals 2017 ch. 1.


@njit
def p_sat(t_c):
    """Saturation pressure over ice up to 0.01 °C, over water above [Pa]."""
    k = t_c + 273.15
    if t_c <= 0.01:
        return math.exp(
            -5.6745359e3 / k + 6.3925247 - 9.677843e-3 * k + 6.2215701e-7 * k**2
            + 2.0747825e-9 * k**3 - 9.484024e-13 * k**4 + 4.1635019 * math.log(k)
        )  # fmt: skip
    return p_water(t_c)


@njit
def p_water(t_c):
    """Saturation pressure over liquid water [Pa]."""
    k = t_c + 273.15
    return math.exp(
        -5.8002206e3 / k + 1.3914993 - 4.8640239e-2 * k + 4.1764768e-5 * k**2
        - 1.4452093e-8 * k**3 + 6.5459673 * math.log(k)
    )  # fmt: skip


@njit
def ratio_of(p_vapour, p):
    """Humidity ratio [kg/kg]."""
    return RATIO * p_vapour / (p - p_vapour)


@njit
def dry_air_density(t_c, w, p):
    """Dry air per volume of moist air [kg/m3]."""
    return p / (287.042 * (t_c + 273.15) * (1.0 + 1.607858 * w))


@dataclass(frozen=True)
class Year:
    """Hourly means of a weather file, and its place."""

    t: np.ndarray
    w: np.ndarray
    p: np.ndarray
    wind: np.ndarray
    sun: np.ndarray
    hour: np.ndarray  # of the day at the start of the interval
    day: np.ndarray  # of the year, from 1
    month: np.ndarray
    southern: bool


def read_weather(path: Path) -> Year:
    """Read an hourly EPW year; temperatures and humidity are instants at the end of each hour."""
    with path.open(encoding="latin-1", newline="") as file:
        lines = list(csv.reader(file))
    head, rows = lines[:8], [row for row in lines[8:] if len(row) > 21]
    if not head[7][2].strip() == "1" or len(rows) not in (8760, 8784):
        raise ValueError("the reference reads one whole year of hourly records")

    def column(k: int) -> np.ndarray:
        return np.array([float(row[k]) for row in rows])

    t, dew, p, wind = column(6), column(7), column(9), column(21)
    dew = np.minimum(dew, t)
    w = np.array([ratio_of(p_sat(d), q) for d, q in zip(dew, p, strict=True)])

    def mean(x: np.ndarray) -> np.ndarray:
        return 0.5 * (np.roll(x, 1) + x)

    start = [(int(row[1]), int(row[2]), int(row[3]) - 1) for row in rows]
    year = 2016 if len(rows) == 8784 else 2017
    return Year(
        t=mean(t), w=mean(w), p=mean(p), wind=mean(wind), sun=column(13),
        hour=np.array([h for _, _, h in start]),
        day=np.array([date(year, m, d).timetuple().tm_yday for m, d, _ in start]),
        month=np.array([m for m, _, _ in start]),
        southern=float(head[0][6]) < 0.0,
    )  # fmt: skip


def mains_c(year: Year) -> np.ndarray:
    """Mains temperature by the day: Hendron et al. 2004, in °F; at least 3 °C, as documented."""
    months = [year.t[year.month == m].mean() for m in range(1, 13)]
    mean_f = year.t.mean() * 1.8 + 32.0
    swing_f = (max(months) - min(months)) * 1.8
    lag = 35.0 - (mean_f - 44.0)
    share = 0.4 + 0.01 * (mean_f - 44.0)
    turn = 90.0 if year.southern else -90.0
    angle = np.radians(0.986 * (year.day - 15.0 - lag) + turn)
    f = mean_f + 6.0 + share * swing_f / 2.0 * np.sin(angle)
    return np.maximum((f - 32.0) / 1.8, 3.0)


@njit
def room_year(t_out, w_out, p, wind, gains, set_c, limit, ua, capacity, area_cm2, c_s, c_w,
              supply, exhaust, sensible, warm):  # fmt: skip
    """Solve the room of one heat capacity: heat even over the hour, which ends at the set-point.

    Leakage follows the room's mean temperature (stack), and the heat loss the leakage: in turn.
    Returns the temperature at the hour's start, its attractor, its rate [1/s], the heat [W],
    leakage [kg/s].
    """
    n = t_out.size
    start, towards, rate = np.zeros(n), np.zeros(n), np.zeros(n)
    heat, leak = np.zeros(n), np.zeros(n)
    t = set_c[n - warm]
    for k in range(-warm, n):
        i = k % n
        mean = t
        for _ in range(8):
            flow = area_cm2 / 1000.0 * math.sqrt(c_s * abs(mean - t_out[i]) + c_w * wind[i] ** 2)
            m_leak = flow * dry_air_density(t_out[i], w_out[i], p[i])
            w_room = ratio_of(0.35 * p_sat(mean), p[i])
            m_s = supply * dry_air_density(mean, w_out[i], p[i])
            m_e = exhaust * dry_air_density(mean, w_room, p[i])
            m_b = min(m_s, m_e)
            total = math.sqrt(m_leak**2 + (m_s - m_e) ** 2) + m_b
            loss = ua + (total - sensible * m_b) * (C_PA + C_PV * w_out[i])
            x = loss * 3600.0 / capacity
            fade = math.exp(-x)
            free = t_out[i] + gains[i] / loss
            q = (set_c[i] - free - (t - free) * fade) * loss / (1.0 - fade)
            q = min(max(q, 0.0), limit[i])
            aim = free + q / loss
            new = aim + (t - aim) * (1.0 - fade) / x
            if abs(new - mean) < 1e-6:
                break
            mean = new
        start[i], towards[i], rate[i], heat[i], leak[i] = t, aim, x / 3600.0, q, m_leak
        t = aim + (t - aim) * fade
    return start, towards, rate, heat, leak


# The pad.


@njit
def forces(t, t_in, w_in, p):
    """Driving force of evaporation G [kg/kg], and of enthalpy to the water F [J/kg]."""
    w_s = ratio_of(min(p_water(t), 0.9 * p), p)
    g = w_s - w_in
    h_in = C_PA * t_in + w_in * (H_FG + C_PV * t_in)
    return g, C_PA * t + w_s * (H_FG + C_PV * t) - h_in - g * C_W * t


@njit
def pad(flow, effect, t_in, w_in, p, feed, t_feed):
    """March the water down a wet pad: evaporation [kg/s], drain's temperature [°C].

    dL/dz = -A G, L c dT/dz = -A F with A = effectiveness times air: no film resistance, Lewis 1.
    """
    a = flow * effect
    least = 1e-6 * feed
    mass, t, z = feed, t_feed, 0.0
    while z < 1.0:
        g1, f1 = forces(t, t_in, w_in, p)
        if abs(f1) < 2.0:  # at the wet bulb within 0.001 K, where it stays
            mass = max(mass - a * g1 * (1.0 - z), 0.0)
            break
        # A third of the depth in which the water comes nearer to the wet bulb by a factor of e.
        _, f_near = forces(t + 0.1, t_in, w_in, p)
        dz = min(mass * C_W / (3.0 * a * 10.0 * (f_near - f1)), 1.0 - z, 0.1)
        m2 = max(mass - 0.5 * dz * a * g1, least)
        t2 = t - 0.5 * dz * a * f1 / (mass * C_W)
        g2, f2 = forces(t2, t_in, w_in, p)
        m3 = max(mass - 0.5 * dz * a * g2, least)
        t3 = t - 0.5 * dz * a * f2 / (m2 * C_W)
        g3, f3 = forces(t3, t_in, w_in, p)
        m4 = max(mass - dz * a * g3, least)
        t4 = t - dz * a * f3 / (m3 * C_W)
        g4, f4 = forces(t4, t_in, w_in, p)
        d = dz * a * (g1 + 2.0 * g2 + 2.0 * g3 + g4) / 6.0
        t -= dz * a / C_W * (f1 / mass + 2.0 * f2 / m2 + 2.0 * f3 / m3 + f4 / m4) / 6.0
        if d >= mass - least:
            return feed, t
        mass -= d
        z += dz
    return feed - mass, t


@njit
def at_work(heat, blower, bypass, own_fan, flow, effect, feed, contact, t_room, w_room, p, t_feed,
            e, brought):  # fmt: skip
    """Return evaporation [kg/s] and heat that its water brings [W], in the air that it makes.

    A pad in a bypass sends its air back before the plant: the blower's air passes the rooms with
    the rest alone, so that W_s = W + E/(M - m) and h_s = h + (Q + H)/(M - m). Both are found in
    turn, from a guess of them.
    """
    rest = blower - flow if bypass else blower
    h = C_PA * t_room + w_room * (H_FG + C_PV * t_room)
    for _ in range(40):
        w_in, t_in = w_room, t_room
        if bypass or own_fan:
            back = 1.0 if bypass else 0.0
            w_in = w_room + back * e / rest
            t_in = (h + (heat + back * brought) / rest - w_in * H_FG) / (C_PA + w_in * C_PV)
        wet = contact * feed
        new, drain_c = pad(flow, effect, t_in, w_in, p, wet, t_feed)
        bring = C_W * (wet * t_feed - (wet - new) * drain_c)
        moved = abs(new - e)
        # What comes back damps itself: four fifths of a step converge where a whole one swings.
        e, brought = 0.2 * e + 0.8 * new, 0.2 * brought + 0.8 * bring
        if moved < 1e-5 * abs(new) + 1e-12 or not (bypass or own_fan):
            return new, bring
    return e, brought


@njit
def pad_table(wanted, heat, blower, bypass, own_fan, flow, effect, feed, contact, t, w_nodes, p,
              feed_nodes):  # fmt: skip
    """Return evaporation and heat brought by hour, mode (heat, blower alone), feed and humidity."""
    n, k = feed_nodes.shape
    e, brought = np.zeros((n, 2, k, 3)), np.zeros((n, 2, k, 3))
    for i in range(n):
        for mode in range(2):
            if not wanted[i, mode]:
                continue
            for j in range(k):
                for m in range(3):
                    e[i, mode, j, m], brought[i, mode, j, m] = at_work(
                        heat[i] if mode == 0 else 0.0, blower[i], bypass, own_fan, flow, effect,
                        feed, contact, t[i], w_nodes[i, m], p[i], feed_nodes[i, j],
                        e[i - 1, mode, j, m], brought[i - 1, mode, j, m],
                    )  # fmt: skip
    return e, brought


@njit
def weights(x, nodes, out):
    """Fill in Lagrange's weights of three nodes; one node counts alone."""
    if nodes.size == 1 or nodes[2] - nodes[0] < 1e-9:
        out[:] = 0.0
        out[0] = 1.0
        return
    a, b, c = nodes[0], nodes[1], nodes[2]
    x = min(max(x, a - 0.5 * (c - a)), c + 0.5 * (c - a))
    out[0] = (x - b) * (x - c) / ((a - b) * (a - c))
    out[1] = (x - a) * (x - c) / ((b - a) * (b - c))
    out[2] = (x - a) * (x - b) / ((c - a) * (c - b))


# The line.


def line_loss_w_k(line: dict[str, Any]) -> np.ndarray:
    """Return what the whole line loses for each kelvin, warmer than its air by 0 to 80 K [W/K].

    Natural convection of Churchill and Chu (1975) on a horizontal cylinder, radiation, the wall;
    air of 20 °C at sea level: conductivity and viscosity by Sutherland's law.
    """
    wall, emissivity = MATERIALS[line.get("material", "")]
    inner = line["bore_mm"] / 1e3
    outer = line.get("outer_mm", line["bore_mm"] + 2.0) / 1e3
    foam = line.get("insulation_mm", 0.0) / 1e3
    around = outer + 2.0 * foam
    if foam > 0.0:
        emissivity = 0.90
    through = math.log(outer / inner) / (2.0 * math.pi * wall)
    through += math.log(around / outer) / (2.0 * math.pi * line.get("insulation_w_m_k", 0.04))
    out = np.zeros(81)
    for warmer in range(81):
        dt = max(float(warmer), 0.05)
        film_k = dt
        for _ in range(60):
            k = 293.15 + 0.5 * film_k
            viscosity = 1.458e-6 * k**1.5 / (k + 110.4) / (101325.0 / (287.05 * k))
            conductivity = 2.64638e-3 * k**1.5 / (k + 245.4 * 10.0 ** (-12.0 / k))
            prandtl = 0.707
            ra = 9.80665 / k * film_k * around**3 / viscosity**2 * prandtl
            nu = (0.60 + 0.387 * ra ** (1 / 6)
                  / (1.0 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)) ** 2  # fmt: skip
            s, a = 293.15 + film_k, 293.15
            h = nu * conductivity / around + emissivity * 5.670374e-8 * (s**2 + a**2) * (s + a)
            h = line.get("film_w_m2_k", h)
            outside = 1.0 / (math.pi * around * h) if h > 0.0 else 1e9
            film_k = dt * outside / (outside + through)
        out[warmer] = line["length_m"] / (outside + through)
    return out


@njit
def follow(dt, n_parts, warm, heat_call, humid_call, unlimited, feels, coupled, band_rh, rh_set,
           p, w_out, leak, supply, exhaust, latent, gains, mass, buffer_kg, t_start, t_aim,
           t_rate, set_c, heat_w, first_w, most_w, capacity, most_firings, dead_s, blower_w,
           power_w, feed, w_nodes, feed_nodes, evaporation, brought, t_begin, held_kg, loss_w_k,
           line_inside, ambient, mains, area, beta, index, t_out, retention):  # fmt: skip
    """Follow the house. Returns hourly W, T and sums by hour; see the names in `HOURLY`."""
    n = p.size
    ns = area.size
    out = np.zeros((17, n))
    wet_h = np.zeros(ns)
    w = w_out[n - warm] + 1e-3
    buffer_rh = 0.3
    film = np.zeros(ns)
    sat = np.zeros(ns)
    beta_wet = np.zeros(ns)
    balance, on, since, runs, ran = 0.0, False, 0.0, False, False
    usual, stored = 0.0, 0.0
    band, drawn, drawn_s = 0.0, 0.0, 0.0
    ww, wf = np.zeros(3), np.zeros(3)
    k_buffer = 2.0 * math.pi / 86400.0
    # Parcels in the line, the one that leaves next first; what each loses of its warmth in a step.
    cools = 1.0 - np.exp(-loss_w_k * dt / (max(held_kg, 1e-9) * C_W))
    parcel_kg, parcel_c, parcels = np.zeros(400), np.zeros(400), 0
    if held_kg > 0.0:
        parcel_kg[0], parcel_c[0], parcels = held_kg, t_begin[n - warm], 1
    for hour in range(-warm, n):
        i = hour % n
        if hour == 0:
            out[:] = 0.0
            stored = balance
            wet_h[:] = 0.0
        t_base = t_start[i]
        aim, fade = t_aim[i], math.exp(-t_rate[i] * dt)
        p_i, q = p[i], heat_w[i]
        for j in range(ns):
            # A wet surface is warmed by what condenses (first order), R = I/h.
            t_s = t_out[i] + index[j] * (t_base - t_out[i])
            ps = p_sat(t_s)
            sat[j] = ratio_of(ps, p_i)
            slope = (ratio_of(p_sat(t_s + 0.05), p_i) - ratio_of(p_sat(t_s - 0.05), p_i)) / 0.1
            latent_heat = 2.835e6 if t_s < 0.0 else H_FG
            beta_wet[j] = beta[j] / (1.0 + beta[j] * latent_heat * index[j] * 0.13 * slope)
        w_mean, t_mean = 0.0, 0.0
        for _ in range(n_parts):
            t_base = aim + (t_base - aim) * fade
            t = t_base + (balance / capacity if feels else 0.0)
            ps = p_sat(t)
            w_room_sat = ratio_of(ps, p_i)
            w_set = ratio_of(rh_set[i] * ps, p_i) if rh_set[i] > 0.0 else -1.0
            # The thermostat.
            off_by = balance
            if q <= 0.0:
                off_by += capacity * (t_base - set_c[i])
            if band <= 0.0:
                band = 900.0 / most_firings * first_w[i]
            if on and off_by >= 0.5 * band:
                on, since = False, 0.0
                # So wide that 4 N f (1 - f) firings follow, with what the device draws.
                net = first_w[i] - drawn / max(drawn_s, dt)
                band = 900.0 / most_firings * max(net, 0.05 * first_w[i])
            elif not on and off_by <= -0.5 * band:
                on, since, drawn, drawn_s = True, 0.0, 0.0, 0.0
            # Flows of vapour without the device.
            m_s = supply * dry_air_density(t, w_out[i], p_i)
            m_e = exhaust * dry_air_density(t, w, p_i)
            m_b = min(m_s, m_e)
            m_x = math.sqrt(leak[i] ** 2 + (m_s - m_e) ** 2) + m_b * (1.0 - latent)
            flow = gains[i] + m_x * (w_out[i] - w)
            to_buffer = 0.0
            if buffer_kg > 0.0:
                rh = p_i * w / (RATIO + w) / ps
                to_buffer = k_buffer * buffer_kg * (rh - buffer_rh)
                buffer_rh += to_buffer * dt / buffer_kg
                flow -= to_buffer
            for j in range(ns):
                c = beta_wet[j] * (w - sat[j])
                c = max(c, -film[j] / dt)
                film[j] += c * dt
                film[j] = min(film[j], retention[j])  # the rest runs off
                flow -= area[j] * c
                if c > 0.0:
                    out[12, i] += area[j] * c * dt
            # With a band a run ends half of it above the set-point, and begins half of it below.
            half = 0.5 * band_rh * w_room_sat
            need = max((w_set + half - w) * mass / dt - flow, 0.0)
            # The device.
            mode = -1
            if on and (heat_call or humid_call):
                mode = 0
            elif not on and humid_call:
                mode = 1
            gives, fed, taken, share = 0.0, 0.0, 0.0, 0.0
            runs = mode >= 0 and (w < w_set - half or (runs and w < w_set + half) or half <= 0.0)
            if unlimited:
                gives = need
            elif runs and rh_set[i] > 0.0 and need > 0.0:
                t_feed = t_begin[i]
                if held_kg > 0.0:
                    left, sum_c = feed * dt, 0.0
                    for k in range(parcels):
                        part = min(left, parcel_kg[k])
                        sum_c += part * parcel_c[k]
                        left -= part
                        if left <= 0.0:
                            break
                    sum_c += max(left, 0.0) * t_begin[i]
                    t_feed = sum_c / (feed * dt)
                weights(w, w_nodes[i], ww)
                weights(t_feed, feed_nodes[i], wf)
                rate, bring = 0.0, 0.0
                for k in range(feed_nodes.shape[1]):
                    for m in range(3):
                        rate += wf[k] * ww[m] * evaporation[i, mode, k, m]
                        bring += wf[k] * ww[m] * brought[i, mode, k, m]
                rate = max(rate, 0.0)
                if mode == 0 and since < dead_s:
                    share = 1.0
                    fed = feed
                else:
                    share = min(need / rate, 1.0) if rate > 0.0 else 1.0
                    gives, fed = share * rate, share * feed
                    taken = gives * (H_FG + C_PV * t) - share * bring
                taken -= share * power_w
                out[2, i] += gives * dt
                out[3, i] += fed * dt
                out[4, i] += share * dt
                out[5, i] += fed * C_W * (t_begin[i] - mains[i]) * dt
                out[13, i] += fed * t_feed * dt
                if mode == 1:
                    out[6, i] += share * blower_w * dt
                    taken -= share * blower_w
            if unlimited:
                out[2, i] += gives * dt
            # The line: what flows, and what all of it loses.
            if held_kg > 0.0 and not unlimited:
                if fed > 0.0:
                    left = fed * dt
                    gone = 0
                    while gone < parcels and left > 0.0:
                        if parcel_kg[gone] > left:
                            parcel_kg[gone] -= left
                            left = 0.0
                        else:
                            left -= parcel_kg[gone]
                            gone += 1
                    if gone > 0:
                        for k in range(gone, parcels):
                            parcel_kg[k - gone], parcel_c[k - gone] = parcel_kg[k], parcel_c[k]
                        parcels -= gone
                    added = fed * dt - left
                    last = parcels - 1
                    if parcels > 0 and (parcel_kg[last] < 0.2 * feed * dt or parcels >= 399):
                        both = parcel_kg[last] + added
                        parcel_c[last] = (
                            parcel_kg[last] * parcel_c[last] + added * t_begin[i]
                        ) / both
                        parcel_kg[last] = both
                    else:
                        parcel_kg[parcels], parcel_c[parcels] = added, t_begin[i]
                        parcels += 1
                air_c = t if line_inside else ambient
                lost = 0.0
                for k in range(parcels):
                    warmer = parcel_c[k] - air_c
                    place = min(abs(warmer), 79.0)
                    low = int(place)
                    falls = warmer * (cools[low] + (place - low) * (cools[low + 1] - cools[low]))
                    parcel_c[k] -= falls
                    lost += falls * parcel_kg[k] * C_W
                if line_inside:
                    out[7, i] += lost
                    taken -= lost / dt
            # The plant, and what the room is owed.
            if not coupled:
                out[8, i] += taken * dt
                taken = 0.0
            if not unlimited:
                output = 0.0
                if on:
                    output = min(max(first_w[i], q + usual), most_w[i])
                    drawn += taken * dt
                    drawn_s += dt
                    if output >= most_w[i] and q + taken > output:
                        out[9, i] += (q + taken - output) * dt
                more = output - q
                # The blower's warmth in what the plant runs longer; where it runs all the time
                # anyway a backup gives more without it.
                blown = blower_w * ((1.0 if on else 0.0) - min(q / first_w[i], 1.0))
                out[16, i] += taken * dt
                usual += (taken - usual) * dt / 1800.0
                balance += (more + blown - taken - t_rate[i] * balance) * dt
                out[8, i] += more * dt
                out[6, i] += blown * dt
                out[10, i] = min(out[10, i], balance / capacity)
                if on and since <= 0.0:
                    out[11, i] += 1.0
                if runs and not ran:
                    out[15, i] += 1.0
                ran = runs
                since += dt
            w_new = w + (flow + gives) * dt / mass
            fog = max(w_new - w_room_sat, 0.0)
            w_new -= fog
            w_mean += 0.5 * (w + w_new) / n_parts
            t_mean += t / n_parts
            w = w_new
        out[0, i], out[1, i] = w_mean, t_mean
        if hour >= 0:
            for j in range(ns):
                t_s = t_out[i] + index[j] * (t_mean - t_out[i])
                if w_mean > ratio_of(p_sat(t_s), p_i):
                    wet_h[j] += 1.0
                    out[14, i] = 1.0
    out[8, n - 1] -= balance - stored  # what the room still has of it is not used up
    return out, wet_h


@dataclass(frozen=True)
class House:
    """What a scenario says of weather, house and surfaces, hour by hour."""

    year: Year
    data: dict[str, Any]

    # The room.
    leak: np.ndarray
    gains: np.ndarray
    room: tuple[np.ndarray, ...]
    set_c: np.ndarray
    t: np.ndarray
    first_w: np.ndarray
    most_w: np.ndarray
    known: dict[Any, Any] = field(default_factory=dict)  # years and pads solved already


def built(scenario: dict[str, Any], folder: Path) -> House:
    """Return the house of a scenario in its weather."""
    year = read_weather(folder / scenario["weather"]["file"])
    data = scenario["space"]["house"]
    n = year.t.size
    stat = data.get("thermostat", {})
    day, night = stat.get("day_c", 20.0), stat.get("night_c", stat.get("day_c", 20.0))
    at, to = stat.get("night_from_h", 22), stat.get("night_to_h", 6)
    dark = (year.hour >= at) | (year.hour < to) if at > to else (year.hour >= at) & (year.hour < to)
    set_c = np.where(dark, night, day).astype(float)
    plant = data["heating"]
    if plant["kind"] == "furnace":
        first = np.full(n, plant["capacity_kw"] * 1e3)
        most = first.copy()
    else:
        first = 1e3 * np.interp(year.t, *np.array(plant["capacity_points"], dtype=float).T)
        most = first + 1e3 * plant.get("backup_kw", 0.0)
    warm_w = data.get("internal_heat_w", 4.0 * data["floor_area_m2"])
    heat_gains = warm_w + data.get("solar_aperture_m2", 0.0) * year.sun
    exponent = data.get("leakage_exponent", 0.65)
    area_m2 = data["leakage_m3_h_at_50pa"] / 3600.0 * (4 / 50) ** exponent * math.sqrt(1.2 / 8.0)
    fans = data.get("ventilation", {})
    storeys = data["storeys"] - 1
    capacity = data.get("heat_capacity_wh_k", 60.0 * data["floor_area_m2"]) * 3600.0
    start, aim, rate, heat, leak = room_year(
        year.t, year.w, year.p, year.wind, heat_gains, set_c, most, float(data["heat_loss_w_k"]),
        capacity, 1e4 * area_m2, STACK[storeys], WIND[data.get("shelter_class", 3) - 1][storeys],
        fans.get("supply_l_s", 0.0) / 1e3, fans.get("exhaust_l_s", 0.0) / 1e3,
        fans.get("sensible_effectiveness", 0.0), WARM_UP_H,
    )  # fmt: skip
    if "moisture_kg_day" in data:
        kg_day = data["moisture_kg_day"]
    else:
        rooms = data["bedrooms"]
        kg_day = DESIGN_KG_DAY[min(rooms, 4) - 1] + max(rooms - 4, 0)
        kg_day *= data.get("gains_factor", 0.5)
    x = rate * 3600.0
    t_mean = aim + (start - aim) * (1.0 - np.exp(-x)) / x
    return House(
        year=year, data=data, leak=leak, gains=kg_day * np.array(PROFILE)[year.hour] / 3600.0,
        room=(start, aim, rate, heat), set_c=set_c, t=t_mean, first_w=first, most_w=most,
    )  # fmt: skip


def rh_to_hold(strategy: dict[str, Any], house: House, surfaces: list[dict]) -> np.ndarray:
    """Return the relative humidity to hold in each hour."""
    t_out = house.year.t
    rule = strategy["rule"]
    if rule == "constant":
        return np.full(t_out.size, strategy["rh"])
    if rule == "outdoor_reset":
        return np.interp(t_out, *np.array(strategy["points"], dtype=float).T)
    if rule == "surface_limit":
        coldest = min(s["temperature_index"] for s in surfaces)
        t_s = t_out + coldest * (house.t - t_out)
        p_s = np.array([p_sat(x) for x in t_s - strategy.get("margin_k", 1.0)])
        room = np.array([p_sat(x) for x in house.t])
        return np.minimum(p_s / room, strategy.get("cap_rh", 0.4))
    raise ValueError(rule)


def solve(
    scenario: dict[str, Any],
    folder: Path,
    *,
    strategy: dict[str, Any] | None = None,
    equipment: dict[str, Any] | None = None,
    supply: dict[str, Any] | None = None,
    step_s: float = 10.0,
    feels: bool = False,
    house: House | None = None,
    coupled: bool = True,
    band_rh: float = 0.0,
    most_firings: float | None = None,
) -> dict[str, Any]:
    """Return a year's numbers of one option, by the names of the program's columns.

    Without equipment the device has no limit, without a strategy there is none. ``feels`` lets
    the room's temperature follow what the plant owes it. ``coupled`` False: the plant gives what
    evaporates besides, without running longer. ``band_rh`` is what lies between off and
    on of the humidistat, half of it above its set-point; 0: it lets through just what holds it.
    ``most_firings`` takes the place of the plant's.
    """
    house = built(scenario, folder) if house is None else house
    year, data = house.year, house.data
    n = year.t.size
    surfaces = scenario.get("surfaces", [])
    start, aim, rate, heat = house.room
    plant = data["heating"]
    rh_set = np.full(n, -1.0)
    if strategy is not None:
        rh_set = rh_to_hold(strategy, house, surfaces)
    psat = np.array([p_sat(x) for x in house.t])
    w_nodes = np.stack([RATIO * r * psat / (year.p - r * psat) for r in RH_NODES], axis=1)
    mains = mains_c(year)
    if supply is not None and "cold_c" in supply:
        mains = np.full(n, float(supply["cold_c"]))
    t_begin = mains.copy()
    line = (supply or {}).get("line")
    if supply is not None and "temperature_c" in supply:
        t_begin = np.maximum(mains, float(supply["temperature_c"]))
    held, loss, inside, ambient = 0.0, np.zeros(81), True, 20.0
    feed_nodes = t_begin[:, None].copy()
    if line is not None:
        held = 1000.0 * math.pi / 4.0 * (line["bore_mm"] / 1e3) ** 2 * line["length_m"]
        loss = line_loss_w_k(line)
        inside = line.get("place", "heated") == "heated" and "ambient_c" not in line
        ambient = float(line.get("ambient_c", 20.0))
        rest = house.t if inside else np.full(n, ambient)
        low, high = np.minimum(rest, t_begin) - 0.5, np.maximum(rest, t_begin) + 0.5
        feed_nodes = np.stack([low, 0.5 * (low + high), high], axis=1)
    e = brought = np.zeros((n, 2, feed_nodes.shape[1], 3))
    feed, power, heat_call, humid_call = 0.0, 0.0, False, False
    if equipment is not None:
        count = equipment.get("count", 1)
        feed = count * equipment["feed_kg_h"] / 3600.0
        power = float(count * equipment.get("power_w", 0.0))
        call = equipment.get("call", "heating")
        heat_call, humid_call = call == "heating", call == "humidity"
        arrangement = equipment.get("arrangement", "bypass")
        w_room = w_nodes[:, 1]
        rho = year.p / (287.042 * (house.t + 273.15) * (1.0 + 1.607858 * w_room))
        blower = plant["airflow_l_s"] / 1e3 * rho
        # Nothing is asked of the pad on days on which a device without limit adds nothing, nor on
        # their neighbours, nor in hours without heat on a call for heating.
        asked_kg = unlimited(scenario, folder, house, strategy)["hourly"][2]
        days = (asked_kg > 0.0).reshape(-1, 24).any(axis=1)
        asked = np.repeat(days | np.roll(days, 1) | np.roll(days, -1), 24)
        heats = (heat > 0.0) | (np.roll(heat, 1) > 0.0) | (np.roll(heat, -1) > 0.0)
        wanted = np.stack([asked & heats, asked & humid_call], axis=1)
        # A heat pump's backup adds what it lacks, by the hour's mean of what evaporates.
        output = np.clip(heat + asked_kg * H_FG / 3600.0, house.first_w, house.most_w)
        key = (strategy and strategy["name"], equipment["name"], (supply or {}).get("name"))
        if key not in house.known:
            house.known[key] = pad_table(
                wanted, output, blower, arrangement == "bypass", arrangement == "own_fan",
                count * equipment["airflow_kg_s"], equipment["effectiveness"], feed,
                equipment.get("contact_frac", 1.0), house.t, w_nodes, year.p, feed_nodes,
            )  # fmt: skip
        e, brought = house.known[key]
    wall = data.get("buffer")
    buffer_kg = 0.0
    if wall is not None:
        # NORDTEST: 8 h high, 16 h low; a store of time constant 24 h/2 pi swings by f of the step.
        k = 2.0 * math.pi / 24.0
        f = (1 - math.exp(-8 * k)) * (1 - math.exp(-16 * k)) / (1 - math.exp(-24 * k))
        buffer_kg = wall["area_m2"] * wall["moisture_buffer_value_g_m2_rh"] / 1e3 * 100.0 / f
    mass = data["volume_m3"] * float(np.mean(
        year.p / (287.042 * (house.t + 273.15) * (1.0 + 1.607858 * w_nodes[:, 1]))
    ))  # fmt: skip
    capacity = data.get("heat_capacity_wh_k", 60.0 * data["floor_area_m2"]) * 3600.0
    fans = data.get("ventilation", {})
    parts = round(3600.0 / step_s)
    sized = [s.get("area_m2", 0.0) for s in surfaces]
    out, wet_h = follow(
        3600.0 / parts, parts, WARM_UP_H, heat_call, humid_call,
        equipment is None and strategy is not None, feels, coupled, band_rh,
        rh_set, year.p, year.w, house.leak, fans.get("supply_l_s", 0.0) / 1e3,
        fans.get("exhaust_l_s", 0.0) / 1e3, fans.get("latent_effectiveness", 0.0), house.gains,
        mass, buffer_kg, start, aim, rate, house.set_c, heat, house.first_w, house.most_w,
        capacity, most_firings or float(plant.get("most_cycles_per_h", 3.0)),
        float(plant.get("dead_time_s", 0.0)),
        float(plant.get("blower_w", 0.0)), power, feed, w_nodes, feed_nodes, e, brought, t_begin,
        held, loss, inside, ambient, mains,
        np.array(sized, dtype=float),
        np.array([s.get("convection_w_m2_k", 3.0) / (C_PA * 0.90) for s in surfaces], dtype=float),
        np.array([s["temperature_index"] for s in surfaces], dtype=float), year.t,
        np.array([s.get("retention_g_m2", 100.0) / 1e3 for s in surfaces], dtype=float),
    )  # fmt: skip
    bare = {"makeup_heat_kwh": 0.0, "fan_kwh": 0.0}
    if equipment is not None:
        bare = unlimited(scenario, folder, house, None, step_s)
    w, t = out[0], out[1]
    rh = year.p * w / (RATIO + w) / np.array([p_sat(x) for x in t])
    daily = np.repeat(year.t.reshape(-1, 24).mean(axis=1), 24)
    comfort = scenario.get("comfort", {})
    season = daily < comfort.get("heating_season_below_c", 15.0)
    low, high = comfort.get("low_rh", 0.30), comfort.get("high_rh", 0.50)
    return {
        "delivered_kg": out[2].sum(),
        "dry_h": float(np.sum(season & (rh < low))),
        "band_h": float(np.sum(season & (rh >= low) & (rh <= high))),
        "humid_h": float(np.sum(season & (rh > high))),
        "condensation_h": out[14].sum(),
        "condensation_h_by_surface": wet_h,
        "condensed_kg": out[12].sum(),
        "feed_l": out[3].sum(),
        "running_h": out[4].sum() / 3600.0,
        "feed_heat_kwh": out[5].sum() / J_PER_KWH,
        "makeup_heat_kwh": out[8].sum() / J_PER_KWH - bare["makeup_heat_kwh"],
        "fan_kwh": out[6].sum() / J_PER_KWH - bare["fan_kwh"],
        "line_heat_kwh": out[7].sum() / J_PER_KWH,
        "unmet_heat_kwh": out[9].sum() / J_PER_KWH,
        "cooler_k": -out[10].min(),
        "taken_kwh": out[16].sum() / J_PER_KWH,
        "firings": out[11].sum(),
        "starts": out[15].sum(),
        "mean_feed_c": out[13].sum() / max(out[3].sum(), 1e-9),
        "heating_kwh": heat.sum() / 1e3,
        "hourly_rh": rh,
        "hourly": out,
    }


def unlimited(
    scenario: dict[str, Any],
    folder: Path,
    house: House,
    strategy: dict[str, Any] | None,
    step_s: float = 10.0,
) -> dict[str, Any]:
    """Return the year of a device without limit; without a strategy that of no device."""
    key = (strategy and strategy["name"], step_s)
    if key not in house.known:
        house.known[key] = solve(scenario, folder, strategy=strategy, step_s=step_s, house=house)
    return house.known[key]
