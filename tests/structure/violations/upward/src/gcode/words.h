// A line of the job.
#include "plan/plan.h"
