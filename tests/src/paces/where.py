"""Where pvlib keeps the file whose name is asked for."""
import json
import os
import sys

import pvlib

name = json.load(sys.stdin)
json.dump(os.path.join(os.path.dirname(pvlib.__file__), "data", name), sys.stdout)
