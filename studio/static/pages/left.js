// Clears what this browser kept for somebody who is no longer logged in: drafts, recordings, halves
// of uploads. Other tabs load anew, and so show the log-in.

localStorage.clear();
sessionStorage.clear();
new BroadcastChannel("studio").postMessage("left");
for (const { name } of (await indexedDB.databases?.()) ?? []) indexedDB.deleteDatabase(name);
for (const name of (await globalThis.caches?.keys()) ?? []) caches.delete(name);
for (const one of (await navigator.serviceWorker?.getRegistrations()) ?? []) one.unregister();
