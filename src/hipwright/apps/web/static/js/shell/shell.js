// What every page needs: dialogs, copying, failures told in words, locking when nobody is there.

import { listenForDialogs } from "./dialogs.js";
import { listenForCopying } from "./copying.js";
import { listenForFailures } from "./failures.js";
import { lockWhenIdle } from "./locking.js";

listenForDialogs(document);
listenForCopying(document);
listenForFailures(document);
lockWhenIdle(document);
