// The day sheet by keyboard: up and down between people, one letter for what became of one. All of it can
// also be done with tab and enter, and the letters work only while a person's line has the focus.
// After a mark the address names the line that was marked, and so the browser goes back to it.
document.addEventListener("keydown", (event) => {
  const line = event.target.closest(".sheet tbody tr");
  if (!line || event.target.closest("select") || event.ctrlKey || event.metaKey || event.altKey) return;
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (step) {
    const people = [...document.querySelectorAll(".sheet [data-line]")];
    people[people.indexOf(line.querySelector("[data-line]")) + step]?.focus();
    event.preventDefault();
  } else if (!event.repeat) {
    line.querySelector(`[data-mark="${CSS.escape(event.key)}"]`)?.click();
  }
});
