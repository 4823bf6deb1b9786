"""One invented example of each kind of raw file, as an owner would leave it."""

from __future__ import annotations

__all__ = ["EXAMPLES"]

EXAMPLES = {
    "oscillator.csv": """\
# invented example: drive voltage and counted frequency, upwards and back
# a real one: at least 5 voltages, better 15 to 25, up and down
Drive (V),Frequency (MHz),Direction,Temperature (degC)
1.000,47.120,up,22.1
2.000,51.580,up,22.1
1.000,47.113,down,22.3
""",
    "scan_A_up.csv": """\
# invented example: light in the diffracted beam while the frequency is stepped through the passband
# a real one: 8 readings or more, better 31 over four passbands, up and down
Frequency (MHz),Optical power (uW),Incident (uW),Dark (uW)
74.80,51.0,402.0,2.0
74.95,148.0,401.0,2.0
75.10,60.0,402.0,2.0
""",
    "scan_B_up.csv": """\
# invented example: the same of a line whose wavelength is to be found
# a real one: 8 readings or more, better 31 over four passbands, up and down
Frequency (MHz),Optical power (uW),Incident (uW),Dark (uW)
58.25,40.0,301.0,2.0
58.40,110.0,302.0,2.0
58.55,44.0,301.0,2.0
""",
    "efficiency_A.csv": """\
# invented example: light against RF level, at the peak of the passband
# a real one: at least 3 RF powers, some of them near the peak
Level (Vrms),Frequency (MHz),Optical power (uW),Incident (uW),Dark (uW)
1.58,74.95,61.0,402.0,2.0
3.16,74.95,205.0,401.0,2.0
""",
    "level.csv": """\
# invented example: RF level over the band, or against the amplifier's supply
# a real one: at least 5 supplies at one frequency, and as many frequencies at one supply
Supply (V),Frequency (MHz),Level (Vpp)
12.0,60.0,14.1
12.0,75.0,13.2
""",
    "trace.csv": """\
# invented example: the head of a trace, behind the pad
# a real one: at least 64 samples, of 20 periods or more
Sample interval,2 ns
Scale,1.25 mV/count
Offset,0 counts
CH1 (counts)
0
59
96
97
58
""",
    "match.csv": """\
# invented example: a directional coupler before the crystal
Frequency (MHz),Forward (mV),Reflected (mV)
50.0,212,61
60.0,208,33
70.0,205,48
""",
    "warm_up.csv": """\
# invented example: frequency at one drive from power-on
# a real one: at least 30 readings, of an hour or two
Time (s),Counter (MHz),Temperature (degC)
0,66.7240,21.6
10,66.7212,21.6
20,66.7185,21.7
""",
    "pushing.csv": """\
# invented example: the oscillator's own supply stepped
# a real one: at least 6 readings
Time (s),Supply (V),Counter (MHz)
0,15.000,66.402
20,15.500,66.677
40,15.001,66.403
""",
    "pulling.csv": """\
# invented example: other loads at the amplifier
# a real one: at least 6 readings
Time (s),Load,Counter (MHz)
0,matched,66.402
20,crystal,66.405
40,matched,66.401
""",
    "hunt.csv": """\
# invented example: light in the diffracted beam while the frequency is swept over the band, all lasers on
# a real one: 60 readings or more, over the whole band in steps of a fifth of a passband
Frequency (MHz),Optical power (uW)
74.80,51.0
74.95,148.0
75.10,60.0
""",
    "spectrum.csv": """\
# invented example: a lamp, scanned
# a real one: the whole lamp, beside the scan of a laser line
Frequency (MHz),Optical power (uW),Dark (uW)
63.60,4.1,2.0
63.80,9.7,2.0
64.00,4.9,2.0
""",
    "leakage_A.csv": """\
# invented example: only laser A on, the frequency set for another line and for "off"
# a real one: two readings or more at each setting
Frequency (MHz),Optical power (uW),Incident (uW),Dark (uW)
63.87,3.1,402.0,2.0
45.00,2.0,401.0,2.0
""",
    "spots.csv": """\
# invented example: from the undiffracted spot to the diffracted one on the screen
Line,Frequency (MHz),Spot (mm)
A,74.95,124.5
B,58.40,117.0
""",
    "polarisation.csv": """\
# invented example: the laser behind a turning analyser
# a real one: 5 readings or more, better half a turn in steps of 15 deg
Analyser (deg),Power meter (uW)
0,402.0
45,205.0
90,3.0
135,199.0
""",
    "beam_size.csv": """\
# invented example: a knife edge moved through the beam
# a real one: 5 readings or more, better 20 from full light to dark and back
Position (mm),Power meter (uW)
10.0,402.0
10.8,201.0
11.6,3.0
""",
    "edge.csv": """\
# invented example: the drive stepped, and the light as a detector sees it
# a real one: at least 60 samples, with both plateaus
Time (us),Drive (V),Detector (mV)
-0.1,4.90,12.1
0.0,5.20,12.0
9.4,5.20,160.3
""",
    "modulation_depth.csv": """\
# invented example: most and least light at a detector, dark subtracted
# a real one: at least 4 frequencies, from a tenth of that of half depth to twice that
Modulation (kHz),Most (mV),Least (mV)
10,310.0,120.0
100,300.5,129.5
300,258.0,172.0
""",
    "lines.csv": """\
# invented example: the frequency that was found for each line
Label,Wavelength in air (nm),u (nm),Frequency (MHz),u (kHz)
A,532.05,0.10,74.951,4
C,589.00,0.10,63.870,4
""",
}
"""Name of the file -> its text."""
