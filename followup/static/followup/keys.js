// Keys: "/" goes to the search box; data-key presses a button or follows a link; data-keys chooses in a list,
// one letter for each choice after the first. Every page works without it.
document.addEventListener("keydown", (event) => {
  const typing = event.target.closest("input, select, textarea, [contenteditable]");
  if (event.ctrlKey || event.metaKey || event.altKey || typing) return;
  const box = document.getElementById("search-box");
  const pressed = [...document.querySelectorAll("[data-key]")].find((each) => each.dataset.key === event.key);
  const list = document.querySelector("select[data-keys]");
  const place = list && event.key.length === 1 ? list.dataset.keys.indexOf(event.key) : -1;
  if (event.key === "/" && box) {
    box.focus();
    box.select();
  } else if (pressed) {
    pressed.click();
  } else if (place >= 0) {
    list.selectedIndex = place + 1;
  } else {
    return;
  }
  event.preventDefault();
});
