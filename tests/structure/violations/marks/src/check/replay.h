// Replays a text; of rewrite/ it may know the marks alone.
#include "rewrite/marks.h"
#include "rewrite/rewrite.h"
