"""Saturation temperature of water by IAPWS-IF97 region 4, and the pressure back."""

from iapws.iapws97 import _PSat_T, _TSat_P

from table import show


def rows():
    for tenth in range(600, 1101, 5):  # 60 to 110 kPa
        kpa = tenth / 10
        yield "saturation_temperature_c", kpa, _TSat_P(kpa / 1000) - 273.15
    for kpa in (0.7, 1, 10, 200, 500, 1000, 10000, 20000):
        yield "saturation_temperature_c", kpa, _TSat_P(kpa / 1000) - 273.15
    for celsius in (0.5, 4, 20, 40, 60, 80, 90, 95, 99.9743, 100, 105, 121.1, 150, 250):
        yield "saturation_pressure_kpa", celsius, 1000 * _PSat_T(celsius + 273.15)


show(["iapws"], ["quantity", "at", "value"], rows())
