in vec3 at;
in vec3 n;
in vec2 ms;
out vec4 colour;
void main() {
    colour = vec4(0.012, 0.047, 0.050, ms.y);
}
