// What stands in localStorage before a clip and a place where a recording is kept. In a module of
// its own: enclosing.js loads the recorder, which loads kept-recordings.js, and none may lead back.

export const KEPT = "studio:reply:";
