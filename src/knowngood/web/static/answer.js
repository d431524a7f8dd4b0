// The answer of a sum stands in sight.
document.getElementById("answer")?.scrollIntoView({ block: "nearest" });
