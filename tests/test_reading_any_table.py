"""Tables of any kind."""

from aotf_lab.reading import Instruments, read_table


def test_any_table_derives_nothing(log):
    table = read_table(log("Wavelength (nm),Level (dBm),Efficiency (%)\n589,20,50\n")).table
    assert table.columns.tolist() == ["wavelength_stated_nm", "rf_level_dbm", "efficiency", "file", "line"]
    assert table.iloc[0, :3].tolist() == [589.0, 20.0, 0.5]


def test_any_table_with_instruments(log):
    readings = read_table(log("drive_v,frequency_mhz,optical_power_mw\n1,46,2\n"), instruments=Instruments())
    assert {e.column for e in readings.common} == {"drive_v", "frequency_mhz", "optical_power_mw"}
    assert readings.table["u_drive_v"].tolist() == [0.005]
