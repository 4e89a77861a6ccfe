#include "../plan/plan.h"
#include "words.h"
#include <plan/plan.h>
