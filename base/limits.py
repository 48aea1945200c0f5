"""How large what comes from outside may be, for the command line and the page alike.

A job folder, a frame description and a result may come from anyone. Each bound lies well above
what a shop needs and well below what would keep a computer busy.
"""

# Files. A job of 100 photos, 200 readings and a full pocket has 30 kB; the largest frame that
# prints (a sheet of A0 full of markers) 300 kB.
JOB_BYTES = 200_000
FRAME_BYTES = 2_000_000
RESULT_JSON_BYTES = 50_000_000
RESULT_FILE_BYTES = 200_000_000  # an overlay of 64 megapixels as PNG
RECORDS_BYTES = 20_000_000  # an export of 50,000 cuts

# TOML and JSON. The deepest value of a job, `pocket.wood.now.moisture`, is the fourth.
DEPTH = 8
KEYS = 5_000
TEXT = 2_000  # letters of one text
WHOLE_NUMBER = 2**53  # beyond it a float and JSON's readers lose digits

# What a job may count.
PHOTOS = 100
FRAMES = 20
READINGS = 500
READING_VALUES = 200
LEAVE_OUT = 1_000
CLEARANCES = 20
OPENINGS = 50  # notches, push-out holes, ribbon slots: of each
COPIES = 200
NAME = 120  # letters of a part's name, which is used in file names
FILE_NAME = 200  # bytes; file systems end at 255, and an ending is added
QUANTITY = 60  # letters of a length or an angle

# What a frame may count. The built-in sheets have 22 to 60 markers.
MARKERS = 1_000
WINDOW_POINTS = 1_000

# Lengths, mm. Nothing that a shop sets into wood or cuts is longer than 10 m, nor is anything
# set or read finer than a micrometre. A feed is a length a minute; routers stay below 60 m.
LONGEST = 10_000.0
SHORTEST = 0.001
FASTEST = 60_000.0
FURTHEST = 100_000.0  # any length that is typed
THINNEST_CUTTER = 0.1  # the finest end mills sold; common practice, no source
