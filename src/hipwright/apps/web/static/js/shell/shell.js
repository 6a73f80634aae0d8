// What every page needs: dialogs, words said briefly, forms that ask before they throw away.

import { listenForDialogs } from "./dialogs.js";
import { listenForCopying } from "./copying.js";
import { listenForFailures } from "./failures.js";

listenForDialogs(document);
listenForCopying(document);
listenForFailures(document);
