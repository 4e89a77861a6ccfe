// Misplaced.
'use strict';
