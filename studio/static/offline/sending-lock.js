// One page of this browser at a time sends a recording; another that finds it waits for its turn.

/** Hold the recording of this key until the returned function is called, or the page is gone. */
export function holdSending(key) {
  let done = () => {};
  const gone = new Promise((resolve) => { done = resolve; });
  navigator.locks?.request(name(key), () => gone).catch(() => {});
  return done;
}

/** Whether another page of this browser is sending it. */
export async function isBeingSent(key) {
  const { held = [] } = (await navigator.locks?.query()) ?? {};
  return held.some((lock) => lock.name === name(key));
}

const name = (key) => `studio-sending:${key}`;
