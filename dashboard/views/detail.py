"""One district's figures and wave, for its detail page."""

from dashboard.views.figures import NOTHING, channel_decimals, crest_factor, figure, power_factor, volt_amperes
from monitor.layout import District, Layout
from monitor.runtime.picture import Picture, Wave
from monitor.standing import DistrictNow

Json = dict[str, object]


def detail(layout: Layout, picture: Picture, row: District, wave: Wave | None) -> Json:
    """Everything the detail page asks for twice a second."""
    now = next(d for d in picture.districts if d.name == row.name)
    return {
        "age_s": None if now.age_s is None else round(now.age_s, 2),
        "figures": figures(picture, row, now),
        "wave": None if wave is None else _wave(wave),
        "findings": [finding.check for finding in now.findings],
        "phasings": [
            {
                "other": next(name for name in phasing.supplies if name != row.supply),
                "verdict": phasing.verdict,
                "difference_volts": figure(phasing.difference_volts, 1),
                "degrees": figure(phasing.degrees, 0),
                "advice": phasing.advice,
            }
            for phasing in picture.phasings
            if row.supply in phasing.supplies
        ],
        "mains_hertz": layout.mains.hertz,
    }


def figures(picture: Picture, row: District, now: DistrictNow) -> list[tuple[str, str, str]]:
    """Name, figure and unit, in the order in which they are shown."""
    volts, amps = channel_decimals(picture, row)
    rows = [
        ("Volts, RMS", figure(now.volts_rms, volts, at_least=now.volts_clipped), "V"),
        ("Amps, RMS", figure(now.amps_rms, amps, at_least=now.amps_clipped), "A"),
        ("Real power", volt_amperes(now.watts, at_least=now.power_clipped), "W"),
        ("Apparent power", volt_amperes(now.volt_amperes, at_least=now.power_clipped), "VA"),
        ("Power factor", figure(power_factor(now), 2), ""),
        ("Frequency", figure(now.frequency_hz, 1), "Hz"),
        ("Volts, mean (DC)", figure(now.volts_mean, volts), "V"),
        ("Amps, mean (DC)", figure(now.amps_mean, amps), "A"),
        ("Volts, peak over RMS", figure(crest_factor(now.volts_peak, now.volts_rms, 1.0), 2), ""),
        ("Amps, peak over RMS", figure(crest_factor(now.amps_peak, now.amps_rms, 0.2), 2), ""),
    ]
    if row.far_volts_channel is not None:
        rows.append(("Volts at the far end", figure(now.far_volts_rms, volts), "V"))
    return [(name, text, unit if text != NOTHING else "") for name, text, unit in rows]


def _wave(wave: Wave) -> Json:
    return {
        "interval_s": wave.interval_s,
        "volts_at_s": wave.volts_skew_s,
        "amps_at_s": wave.amps_skew_s,
        "volts": [round(value, 2) for value in wave.volts.tolist()],
        "amps": [round(value, 3) for value in wave.amps.tolist()],
    }
