// A heater.
#include "gcode/words.h"
