"""The commands. What libraries log while they load (a cache that could not be saved) is no news for the user."""

import logging

logging.getLogger("matplotlib").setLevel(logging.CRITICAL)
