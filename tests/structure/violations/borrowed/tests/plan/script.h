// Plans as text.
#include "help/jobs.h"
#include "../job/jobs.h"
