"""How much and how long the page's server works for its windows; see also `snugline.limits`."""

from snugline.limits import PHOTOS as PHOTOS

ARCHIVE_BYTES = 1_000_000_000  # a whole job: 100 photos of 10 MB
UPLOAD_BYTES = 80_000_000  # a phone's photo of 48 megapixels, a scan as PNG
UPLOAD_PIXELS = 64_000_000
BODY_BYTES = 1_000_000  # of any request other than a photo
TEXT_LENGTH = 500  # of one value of a job

CONNECTIONS = 256
STREAMS = 48  # windows that listen for events
UPLOADS = 64  # that run at once
REQUEST_SECONDS = 5.0  # from a connection, or an answer, to the whole head of the next request
CHUNK_SECONDS = 30.0  # between two pieces of a body
# When all places are taken, an upload slower than this after that time loses its own.
SLOW_SECONDS = 3.0
SLOW_BYTES_PER_SECOND = 10_000

TRACE_SECONDS = 60.0  # for one photo
FIT_SECONDS = 60.0
PLAN_SECONDS = 30.0
PICTURE_SECONDS = 30.0
FINISH_SECONDS = 120.0  # besides the time for tracing, should the contours not lie ready

LINK_MINUTES = 10
SESSION_HOURS = 12
