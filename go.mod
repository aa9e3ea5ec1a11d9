module layette

go 1.26
