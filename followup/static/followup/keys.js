// One key: "/" goes to the search box. Every page works without it.
document.addEventListener("keydown", (event) => {
  const typing = event.target.closest("input, select, textarea, [contenteditable]");
  const box = document.getElementById("search-box");
  if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey || typing || !box) return;
  event.preventDefault();
  box.focus();
  box.select();
});
