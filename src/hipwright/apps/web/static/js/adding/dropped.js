// Walks what was dropped: files, and folders with all that lies in them.

/**
 * @param {DataTransfer} transfer
 * @returns {AsyncIterable<{ file: File, path: string }>}
 */
export function filesOf(transfer) {
  // The list empties itself once the event is over, so the entries are taken at once.
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.() ?? null);
  const plain = [...transfer.files];
  return entries.some((entry) => entry) ? walked(entries) : listed(plain);
}

/** @param {(FileSystemEntry | null)[]} entries */
async function* walked(entries) {
  for (const entry of entries) if (entry) yield* below(entry, "");
}

/**
 * @param {FileSystemEntry} entry
 * @param {string} folder
 * @returns {AsyncGenerator<{ file: File, path: string }>}
 */
async function* below(entry, folder) {
  const path = folder ? `${folder}/${entry.name}` : entry.name;
  if (entry.isFile) {
    const at = /** @type {FileSystemFileEntry} */ (entry);
    yield { file: await new Promise((done, failed) => at.file(done, failed)), path };
    return;
  }
  const reader = /** @type {FileSystemDirectoryEntry} */ (entry).createReader();
  // A reader gives a hundred entries at a time.
  for (;;) {
    /** @type {FileSystemEntry[]} */
    const some = await new Promise((done, failed) => reader.readEntries(done, failed));
    if (!some.length) return;
    for (const one of some) yield* below(one, path);
  }
}

/** @param {File[]} files */
async function* listed(files) {
  for (const file of files) yield { file, path: file.name };
}
