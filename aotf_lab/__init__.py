"""Characterise an acousto-optic tunable filter bench from raw readings.

The public names are listed in ``__init__.pyi``; each is loaded when it is first used, so that
``import aotf_lab`` costs next to nothing.
"""

from importlib import import_module as _import_module

_HOMES = {
    "aotf_lab.errors": (
        "AotfLabError",
        "FitError",
        "MaterialError",
        "OutOfRangeError",
        "ReadingError",
        "ReadingsError",
        "RecordError",
        "SessionError",
        "UnsafeDriveError",
    ),
    "aotf_lab.reading": (
        "Instruments",
        "JoinedLogs",
        "Layout",
        "LongLog",
        "Readings",
        "Receipt",
        "StatedColumn",
        "Suspicion",
        "join_logs",
        "load_layout",
        "read_analyser",
        "read_counted_log",
        "read_counter",
        "read_edge",
        "read_knife_edge",
        "read_lines",
        "read_modulation",
        "read_power_log",
        "read_reflection",
        "read_scope_levels",
        "read_spots",
        "read_table",
        "read_touchstone",
        "read_trace",
        "reduce_power_log",
        "suspicions",
        "suspicions_between",
        "write_layout",
    ),
    "aotf_lab.driver": (
        "Level",
        "Match",
        "Pushing",
        "SafeSupply",
        "Stability",
        "Vco",
        "WarmUp",
        "Waveform",
        "fit_level",
        "fit_match",
        "fit_pushing",
        "fit_vco",
        "fit_warm_up",
        "fit_waveform",
        "optical_window",
        "safe_supply",
        "stability_budget",
    ),
    "aotf_lab.driver.stability": ("stability",),
    "aotf_lab.crystal": (
        "Cut",
        "Efficiency",
        "EfficiencyLines",
        "Scan",
        "Tuning",
        "fit_cut",
        "fit_efficiency",
        "fit_efficiency_lines",
        "fit_scan",
        "fit_tuning",
    ),
    "aotf_lab.crystal.hunt.hunt": ("Hunt", "fit_hunt"),
    "aotf_lab.crystal.identity.candidates": ("own_lines",),
    "aotf_lab.crystal.identity.identify": ("identify",),
    "aotf_lab.crystal.identity.identity": ("Identity",),
    "aotf_lab.crystal.spectrum.fit": ("fit_spectrum",),
    "aotf_lab.crystal.spectrum.response": ("Response", "response_of_efficiency", "response_table"),
    "aotf_lab.crystal.spectrum.spectrum": ("Spectrum",),
    "aotf_lab.crystal.passbands.passbands": ("Passbands", "passbands"),
    "aotf_lab.crystal.purity.contrast": ("Contrast", "contrast"),
    "aotf_lab.crystal.purity.crosstalk": ("Crosstalk", "crosstalk"),
    "aotf_lab.crystal.purity.extinction": ("Extinction", "extinction"),
    "aotf_lab.crystal.purity.leakage": ("Leakage", "fit_leakage"),
    "aotf_lab.crystal.loops": ("LoopFit", "Loops", "expected_loops", "fit_loops"),
    "aotf_lab.crystal.angles": ("Angles", "fit_angles"),
    "aotf_lab.crystal.polarisation": ("Polarisation", "fit_polarisation"),
    "aotf_lab.crystal.beam": ("BeamSize", "fit_beam_size"),
    "aotf_lab.crystal.modulator.modulator": ("Modulator", "fit_modulator"),
    "aotf_lab.data": ("CatalogueLine", "catalogue_lines"),
    "aotf_lab.planning.one_drive": ("one_drive",),
    "aotf_lab.planning.one_drive_result": ("OneDrive",),
    "aotf_lab.planning.park": ("Park", "park_frequency"),
    "aotf_lab.planning.sequence": ("Sequence", "Step", "sequence"),
    "aotf_lab.planning.generator.sweep": ("SineSweep", "sine_sweep"),
    "aotf_lab.planning.generator": ("GeneratorSettings", "generator_output", "generator_settings"),
    "aotf_lab.timing.depth": ("ModulationDepth", "fit_modulation_depth"),
    "aotf_lab.timing.edge": ("Edge", "fit_edge"),
    "aotf_lab.timing.sweep": ("SweepLimits", "lag_or_hysteresis", "sweep_limits"),
    "aotf_lab.planning.next_reading": (
        "NextReadings",
        "next_readings",
        "power_of_safe_supply",
        "saturation_of",
        "setting_of",
        "wavelength_of",
    ),
    "aotf_lab.planning.session_plan": ("Prospect", "ProspectLine", "SessionPlan", "plan_session"),
    "aotf_lab.timing.eye": ("DataRate", "data_rate"),
    "aotf_lab.planning": ("Curves", "SetPoint", "SetPoints", "set_points"),
    "aotf_lab.record": (
        "CrystalRecord",
        "OscillatorRecord",
        "RecordFolder",
        "kept_set_points",
        "read_record",
        "save_record",
    ),
    "aotf_lab.record.drift": ("Drift", "control_chart", "drift_of"),
    "aotf_lab.record.fault_tree": ("FaultTree", "half_the_light", "line_numbers"),
    "aotf_lab.record.opening": ("Opening", "opening_check"),
    "aotf_lab.record.parts": ("PartsChange", "change_of_parts"),
    "aotf_lab.session.keep": ("keep",),
    "aotf_lab.session.many.compare": ("compare",),
    "aotf_lab.session.many.comparison": ("Comparison",),
    "aotf_lab.session.opening": ("opening_of",),
    "aotf_lab.session.rerun.results": ("SessionResults", "results"),
    "aotf_lab.session": ("Session", "SessionCheck", "check_session", "open_session"),
    "aotf_lab.simulate": ("simulate_session",),
    "aotf_lab.report": ("write_report",),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

__all__ = sorted(_HOME_OF)


def __getattr__(name: str) -> object:
    if name not in _HOME_OF:
        raise AttributeError(f"module 'aotf_lab' has no attribute {name!r}")
    value = getattr(_import_module(_HOME_OF[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return list(__all__)
