"""Recording devices and rooms by the names players would give them. Figures are common practice, no source."""

from .spec import Noise, Phone, Room

PHONE = Phone(
    rate=48_000, channels=2, low_hz=90.0, high_hz=15_000.0, resonance_hz=3_200.0, resonance_db=3.0, gain_db=-5.0
)
OLD_PHONE = Phone(
    rate=44_100, low_hz=180.0, high_hz=9_000.0, resonance_hz=2_600.0, resonance_db=6.0, agc_db=8.0, gain_db=-4.0
)
TABLET = Phone(
    rate=48_000, low_hz=140.0, high_hz=12_000.0, resonance_hz=4_000.0, resonance_db=4.0, limit=True, gain_db=-3.0
)
LAPTOP = Phone(rate=48_000, low_hz=200.0, high_hz=7_800.0, agc_db=10.0, gain_db=-6.0)
CAMERA = Phone(rate=48_000, channels=2, low_hz=40.0, high_hz=18_000.0, gain_db=-8.0)
DEVICES = {"phone": PHONE, "old phone": OLD_PHONE, "tablet": TABLET, "laptop": LAPTOP, "camera": CAMERA}

BEDROOM = Room(rt60_s=0.25, direct_db=8.0)
GARAGE = Room(rt60_s=0.6, direct_db=3.0)
HALL = Room(rt60_s=0.9, direct_db=1.0)
YARD = Room(rt60_s=0.0)
ROOMS = {"bedroom": BEDROOM, "garage": GARAGE, "hall": HALL, "yard": YARD}

QUIET = Noise(pink_db=-55.0)
FAN = Noise(pink_db=-38.0, hum_db=-48.0)
STREET = Noise(pink_db=-30.0)
NOISES = {"quiet": QUIET, "fan": FAN, "street": STREET}
