/* A press on a moment plays the clip from there, in place. Without this script the link opens it. */
document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-at]");
  const player = link && link.closest("article").querySelector("video, audio");
  if (!player) return;
  event.preventDefault();
  player.currentTime = Number(link.dataset.at);
  player.play();
});
