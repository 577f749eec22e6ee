"""The digit classifier: what it scores, and the few lines that run it."""

import os

# onnxruntime from 1.32 on keeps an identifier and a queue of events below the user's cache folder
# and sends them to its maker, unless it is told before its first import not to. Every road to it
# comes through this room; what a program had set is overruled: the photo stays home.
os.environ["ORT_DISABLE_TELEMETRY"] = "1"
